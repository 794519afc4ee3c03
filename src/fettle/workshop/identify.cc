#include "fettle/workshop/identify.h"

#include <charconv>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

using identity::LabelText;

std::optional<std::size_t> number(std::string_view s) {
    std::size_t out = 0;
    const auto [end, ec] = std::from_chars(s.data(), s.data() + s.size(), out);
    if (ec != std::errc() || end != s.data() + s.size() || out == 0) return std::nullopt;
    return out;
}

// "3", "plate2.3", "view.1" → the label and its character.
Status mark_sure(identity::Given& given, const std::string& sure) {
    const auto refuse = [&](const char* problem) {
        return usage_error(
            "sure-form", with(fettle::given("sure", sure)), problem,
            Next{"write the number of the character, from 1, after its label: ",
                 with(fettle::given("sure", "plate2.3")), " or ", with(fettle::given("sure", "view.1"))});
    };
    const auto dot = sure.find('.');
    std::string label = dot == std::string::npos ? "plate" : sure.substr(0, dot);
    const auto character = number(dot == std::string::npos ? sure : sure.substr(dot + 1));
    std::vector<LabelText>* list = nullptr;
    for (const auto& [name, texts] : {std::pair{"plate", &given.plates}, std::pair{"view", &given.views}}) {
        if (!label.starts_with(name)) continue;
        list = texts;
        label.erase(0, std::string_view(name).size());
    }
    const auto which = label.empty() ? std::optional<std::size_t>(1) : number(label);
    if (!list || !which || !character) return refuse("names no character of a plate or view");
    if (*which > list->size()) return refuse("names a plate or view that was not given");
    (*list)[*which - 1].sure.push_back(*character - 1);
    return {};
}

Result<identity::Given> given_by(const IdentifyRequest& request) {
    if (request.housings && *request.housings < 1)
        return usage_error("housings-form", with(flag("housings")), "is no number of housings; 1 or more was expected",
                           "count the labelled housings on the bench");
    identity::Given given;
    const auto source = request.photo ? identity::Source::photo : identity::Source::typed;
    for (const std::string& p : request.plates) given.plates.push_back({p, source, {}});
    for (const std::string& v : request.views) given.views.push_back({v, source, {}});
    given.intake.housings = request.housings;
    for (const std::string& s : request.sure)
        if (const Status marked = mark_sure(given, s); !marked) return pass(marked);
    return given;
}

NewEntry identified_entry(const Identified& found, const IdentifyRequest& request) {
    const identity::Identity& id = found.identity;
    json::object plates;
    // As it was typed where it is not settled, or was filled in: what is not known of it is not known tomorrow.
    for (const auto& b : id.boxes)
        plates[b.role] = b.plate.empty() || b.typed.find('?') != std::string::npos ? b.typed : b.plate;
    json::object data{{"family", id.family},
                      {"family_digest", found.family ? found.family->digest : ""},
                      {"plates", std::move(plates)},
                      {"release", id.release}};
    if (!id.releases.empty()) {
        json::object releases;
        for (const auto& [role, release] : id.releases) releases[role] = release;
        data["releases"] = std::move(releases);
    }
    if (!id.market.empty()) data["market"] = id.market;
    if (request.views.size() == 1) data["view"] = request.views.front();
    if (request.views.size() > 1) data["views"] = texts_as_json(request.views);
    data["verdict"] = code(id.judgement.verdict());
    data["reasons"] = reasons_as_json(id.judgement.reasons);
    return {"identified", std::move(data)};
}

}  // namespace

Result<Identified> identified(const Workshop& shop, const IdentifyRequest& request) {
    const auto given = given_by(request);
    if (!given) return pass(given);
    std::vector<family::Family> families;
    if (request.family.empty()) {
        auto all = load_families(shop);
        if (!all) return pass(all);
        families = std::move(*all);
    } else {
        auto one = load_family_by_id(shop, request.family);
        if (!one) return pass(one);
        families.push_back(std::move(*one));
    }
    Identified out;
    out.identity = identity::identify(families, *given);
    for (family::Family& f : families)
        if (f.id == out.identity.family) out.family = std::move(f);
    return out;
}

Result<Identified> identify(const Workshop& shop, const IdentifyRequest& asked) {
    if (asked.job.empty()) return identified(shop, asked);
    IdentifyRequest request = asked;
    if (request.plates.empty()) {  // those that the job was opened with
        const auto job = load_job(shop, request.job);
        if (!job) return pass(job);
        for (const auto& [role, plate] : job->plates) request.plates.push_back(plate);
        if (!request.housings) request.housings = job->housings;
    }
    auto found = identified(shop, request);
    if (!found) return found;
    if (auto kept = append_entries(shop, request.job, {identified_entry(*found, request)}); !kept) return pass(kept);
    return found;
}

}  // namespace fettle::workshop
