#include "fettle/workshop/take_in.h"

#include <fmt/core.h>

#include <algorithm>
#include <filesystem>
#include <system_error>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/identity/label.h"
#include "fettle/identity/vin.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/other_jobs.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

Result<std::string> vin_to_keep(const std::string& typed, Judgement& judgement) {
    if (trim(typed).empty()) return std::string();
    identity::VinAnswer answer = identity::check_vin(typed);
    if (answer.judgement.verdict() == Verdict::halt) {
        std::vector<std::string> why;
        for (const Reason& r : answer.judgement.reasons)
            if (r.verdict == Verdict::halt) why.push_back(r.text);
        return bad_input("vin-impossible", with(given("vin", answer.typed)), join(why, "; "),
                         "read it again, or open the job without it and add it later");
    }
    judgement.add(std::move(answer.judgement));
    std::string kept = answer.typed;
    for (char& c : kept)
        if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
    return kept;
}

bool reads(const family::Family& family, const std::string& plate) {
    return std::any_of(family.boxes.begin(), family.boxes.end(), [&](const family::Box& b) {
        return !identity::read_label(b.plate, {plate, identity::Source::typed, {}}, "plate").readings.empty();
    });
}

// The families that can read one of the plates; what the plates mean is the business of identify().
std::vector<family::Family> families_of(const Workshop& shop, const std::vector<std::string>& plates, Judgement& j) {
    std::vector<family::Family> out;
    auto families = load_families(shop);
    if (!families) return out;
    for (const std::string& plate : plates) {
        const auto readable = [&](const family::Family& f) { return reads(f, plate); };
        if (std::none_of(families->begin(), families->end(), readable))
            j.add({"plate-not-known", Verdict::mind,
                   "no family known here has such a plate; it was written down as typed", plate, "family files",
                   Next{"what is wrong with it is said by: ", propose(Act::identify, {given("label", plate)})}});
    }
    for (family::Family& f : *families)
        if (std::any_of(plates.begin(), plates.end(), [&](const std::string& plate) { return reads(f, plate); }))
            out.push_back(std::move(f));
    return out;
}

std::vector<family::Release> shelved_of(const Workshop& shop, const std::string& family) {
    std::error_code ec;
    std::vector<family::Release> out;
    if (!std::filesystem::exists(shop.shelf_folder(), ec)) return out;
    auto shelf = shelf::Shelf::open(shop.shelf_folder());
    auto all = shelf ? shelf->list(family) : Result<std::vector<shelf::Shelved>>();
    if (all)
        for (shelf::Shelved& s : *all) out.push_back(std::move(s.release));
    return out;
}

json::object opened_data(const TakeInRequest& r, const std::string& vin) {
    json::object out{{"customer", r.customer},
                     {"vehicle", r.vehicle},
                     {"vin", vin},
                     {"complaint", r.complaint},
                     {"place", code(r.place)},
                     {"boxes", texts_as_json(r.plates)},
                     {"consents", texts_as_json(r.consents)}};
    if (r.housings) out["housings"] = *r.housings;
    if (!r.by.empty()) out["by"] = r.by;
    return out;
}

}  // namespace

Result<TakenIn> take_in(const Workshop& shop, const TakeInRequest& request) {
    if (trim(request.customer).empty())
        return usage_error("customer-missing", with(flag("customer")), "a job belongs to a customer",
                           Next{"say whose it is: ", propose(Act::open_job, {wanted("customer", "NUMBER")})});
    TakenIn out;
    const auto vin = vin_to_keep(request.vin, out.judgement);
    if (!vin) return pass(vin);
    const auto families = families_of(shop, request.plates, out.judgement);

    for (const OpenElsewhere& o : open_elsewhere(shop, request.plates))
        out.judgement.add({"open-in-another-job", Verdict::mind,
                           "this label is in job " + o.job + " of customer " + printable(o.customer) +
                               ", which is not handed over: is it the same unit?",
                           o.plate, "bench book", Next{"look at it: ", propose(Act::show_job, {fettle::job(o.job)})}});
    const std::string data = data_of(shop, opened_data(request, *vin));
    if (auto ok = book::check_entry("opened", data); !ok) return pass(ok);
    std::vector<book::Addition> more;
    out.kept = request.keep;
    for (Keeping& thing : out.kept) {
        thing.id = fmt::format("keeping-{}", more.size() + 1);
        const NewEntry entry = kept_entry(thing);
        more.push_back({entry.type, data_of(shop, entry.data)});
    }
    auto book = open_book(shop);
    if (!book) return pass(book);
    auto number = book->open_job(data, shop.clock->now(), more);
    if (!number) return pass(number);

    out.job = std::move(*number);
    out.complains = !trim(request.complaint).empty();
    out.family_known = !families.empty();
    if (!out.complains) return out;
    for (const family::Family& f : families)
        for (plan::Cure& c : plan::cures_known(f, shelved_of(shop, f.id), request.complaint))
            out.worth.push_back({f.id, std::move(c)});
    return out;
}

}  // namespace fettle::workshop
