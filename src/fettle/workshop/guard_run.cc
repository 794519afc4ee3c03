#include "fettle/workshop/guard_run.h"

#include <algorithm>
#include <chrono>
#include <memory>
#include <thread>

#include "fettle/base/text.h"
#include "fettle/link/supply_source.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/run_witness.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

using Seconds = std::chrono::duration<double>;

class Guard {
public:
    Guard(const Workshop& shop, const GuardRequest& request, const JobRun& run)
        : shop_(shop), request_(request), run_(run), witness_(shop, run) {
        out_.job = run.number;
        out_.by_supply = !request.supply.empty();
    }

    Status open() {
        if (!request_.listen.empty())
            if (auto ok = witness_.listen_at(request_.listen); !ok) return ok;
        if (!out_.by_supply) return {};
        auto opened = link::open_supply(request_.supply, *shop_.clock, run_.job.runs.back().started);
        if (!opened) return pass(opened);
        source_ = std::move(*opened);
        return {};
    }

    Status until_it_ends() {
        const auto began = std::chrono::steady_clock::now();
        const Seconds pause(request_.for_s > 0 && request_.for_s < 5 ? 0.1 : 1);
        while (true) {
            if (auto kept = look(); !kept) return kept;
            if (request_.for_s > 0 && std::chrono::steady_clock::now() - began >= Seconds(request_.for_s)) return {};
            std::this_thread::sleep_for(pause);
            const auto ended = over();
            if (!ended) return pass(ended);
            if (*ended) return {};
        }
    }

    Guarded take() {
        for (const Breach& b : out_.breaches)
            out_.judgement.add({"hold-broken", Verdict::mind, b.hold + ": " + b.words, b.hold, b.witness});
        if (out_.by_supply && out_.readings == 0)
            out_.judgement.add({"supply-not-witnessed", Verdict::cant_say,
                                "not one reading came: the supply was not guarded", "supply", "not read"});
        return std::move(out_);
    }

private:
    Status look() {
        std::vector<Breach> seen;
        auto kept = witness_.see(source_ ? readings() : std::vector<SupplySample>(), seen);
        for (Breach& b : seen) {
            if (request_.broken) request_.broken(b);
            out_.breaches.push_back(std::move(b));
        }
        return kept;
    }

    std::vector<SupplySample> readings() {
        auto got = source_->take();
        if (!got) {
            ++out_.troubles;
            std::string why = got.error().message();
            if (why != trouble_ && request_.without_reading) request_.without_reading(got.error());
            trouble_ = std::move(why);
            return {};
        }
        if (!got->empty()) trouble_.clear();
        out_.readings += got->size();
        return std::move(*got);
    }

    // Has the run that was begun come to its end?
    Result<bool> over() const {
        const auto job = load_job(shop_, run_.number);
        if (!job) return pass(job);
        return !job->is_open_run() || job->runs.back().started != run_.job.runs.back().started;
    }

    const Workshop& shop_;
    const GuardRequest& request_;
    const JobRun& run_;
    RunWitness witness_;
    std::unique_ptr<SupplySource> source_;
    std::string trouble_;
    Guarded out_;
};

Result<Breached> breach_now(const Workshop& shop, const BreachRequest& request) {
    const auto run = load_job_and_family(shop, request.job, Unidentified::allowed);
    if (!run) return pass(run);
    if (!run->job.is_open_run())
        return bad_input(
            "no-open-run", "job " + run->number, "no run is open, so nothing need stay as it is",
            Next{"answer the check instead: ",
                 propose(Act::answer, {job(run->number), given("answer", "hold." + request.hold + "=no")})});
    const auto holds = ready::holds_of(run->family, run->on_bench());
    const auto hold =
        std::find_if(holds.begin(), holds.end(), [&](const family::Hold& h) { return h.id == request.hold; });
    if (hold == holds.end()) {
        std::vector<std::string> ids;
        for (const family::Hold& h : holds) ids.push_back(h.id);
        return usage_error("hold-unknown", printable(request.hold), "no hold of this place has this name",
                           "use one of: " + join(ids, ", "));
    }
    const bool silent = trim(request.says).empty();
    Breached out{run->number,
                 {hold->id, "tap", silent ? "not so any more: " + hold->words : request.says, shop.clock->now()},
                 {}};
    out.judgement.add({"hold-broken", Verdict::mind, "seen broken: " + hold->words, hold->id, "tap"});
    if (auto kept = append_entries(shop, run->number, {breach_entry(out.breach)}, run->job.last_number); !kept)
        return pass(kept);
    return out;
}

}  // namespace

Result<Guarded> guard_run(const Workshop& shop, const GuardRequest& request) {
    if (request.supply.empty() && request.listen.empty())
        return usage_error("guard-without-witness", "job " + request.job, "neither a supply nor a network is named",
                           "name a supply, an address to listen at, or both");
    const auto run = load_job_and_family(shop, request.job, Unidentified::allowed);
    if (!run) return pass(run);
    if (!run->job.is_open_run())
        return bad_input(
            "no-open-run", "job " + run->number, "no run is open, so there is nothing to guard",
            Next{"begin one: ", propose(Act::watch, {job(run->number), flag("start"), wanted("by", "NAME")})});
    Guard guard(shop, request, *run);
    if (auto opened = guard.open(); !opened) return pass(opened);
    if (auto kept = guard.until_it_ends(); !kept) return pass(kept);
    return guard.take();
}

Result<Breached> keep_breach(const Workshop& shop, const BreachRequest& request) {
    return until_journal_rests([&] { return breach_now(shop, request); });
}

}  // namespace fettle::workshop
