// A job of the example set with a plan from 27.1.110 to 27.3.118 and, when asked for, a run of it. For tests.
#pragma once

#include <stdexcept>
#include <string>

#include "fettle/base/json.h"
#include "fettle/family/family.h"
#include "fettle/plan/expected.h"
#include "fettle/shelf/shelf.h"
#include "fettle/standin/maker.h"
#include "fettle/workshop/identify.h"
#include "fettle/workshop/plan_job.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/test_workshop.h"

namespace fettle::workshop {

template <class T>
T must(Result<T> r) {
    if (!r) throw std::runtime_error(r.error().message());
    return std::move(*r);
}
inline void must(const Status& s) {
    if (!s) throw std::runtime_error(s.error().message());
}

class TestJob : public TestWorkshop {
public:
    TestJob() {
        for (const char* release : {"27.1.110", "27.3.118"}) shelve(release);
        auto book = must(open_book(shop));
        number = must(book.open_job(R"({"customer":"1007","complaint":"dark","place":"bench"})", clock.at));
        IdentifyRequest who;
        who.plates = {"6104183C5", "6402207A4"};
        who.views = {"27.1.110 NS"};
        who.job = number;
        must(identify(shop, who));
        PlanAsk ask;
        ask.job = number;
        ask.to = "27.3.118";
        planned = must(plan_job(shop, ask));
        if (!planned.plan || planned.plan->steps.size() != 1) throw std::runtime_error("no plan of one step");
    }

    // One run of the plan's step, half an hour long; it ends as `outcome` says ("ended", "broken off"), or stays open.
    void run(const char* outcome = "ended") {
        add("started", {{"release", "27.3.118"}, {"by", "R"}, {"expected", plan::expected_as_json(step())}});
        clock.at += 30 * 60 * 1000;
        if (*outcome) add("ended", {{"outcome", outcome}});
    }
    void add(const char* type, json::object data) { must(append_entries(shop, number, {{type, std::move(data)}})); }
    book::Job job() const { return must(load_job(shop, number)); }
    const plan::PlanStep& step() const { return planned.plan->steps.front(); }
    std::size_t entries_of(const std::string& type) const {
        std::size_t n = 0;
        for (const book::Entry& e : must(read_job(shop, number)).entries) n += e.type == type;
        return n;
    }

    std::string number;
    Planned planned;

private:
    void shelve(const std::string& release) {
        static const family::Family dunnock = must(family::load_family(source_path("families/dunnock.toml")));
        for (const standin::ReleaseSpec& spec : standin::dunnock_history(400'000)) {
            if (spec.release != release) continue;
            const auto package = folder / release;
            must(standin::make_package(dunnock, spec, 7, package));
            shelf::AddRequest request;
            request.package = package;
            request.slip.from = "test";
            request.index_only = true;
            must(must(shelf::Shelf::open(shop.shelf_folder())).add(dunnock, request, clock));
        }
    }
};

}  // namespace fettle::workshop
