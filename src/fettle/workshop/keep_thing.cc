#include "fettle/workshop/keep_thing.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

Result<KeptThings> kept_now(const Workshop& shop, const KeepRequest& request) {
    const auto job = load_job(shop, request.job);
    if (!job) return pass(job);
    KeptThings out{job->number, request.things};
    std::size_t number = job->keepings.size();
    std::vector<NewEntry> entries;
    for (Keeping& thing : out.things) {
        thing.id = fmt::format("keeping-{}", ++number);
        entries.push_back(kept_entry(thing));
    }
    if (auto kept = append_entries(shop, out.job, entries, job->last_number); !kept) return pass(kept);
    return out;
}

std::string known_ids(const std::vector<Keeping>& keepings) {
    std::vector<std::string> ids;
    for (const Keeping& k : keepings) ids.push_back(k.id);
    return ids.empty() ? "nothing is kept in this job" : "no keeping of that id; there are: " + join(ids, ", ");
}

}  // namespace

Result<Keeping> thing_typed(const std::string& text) {
    std::string_view rest = trim(text);
    Keeping out;
    if (const std::size_t colon = rest.find(':'); colon != std::string_view::npos) {
        out.slot = trim(rest.substr(0, colon));
        rest = trim(rest.substr(colon + 1));
    }
    if (const std::size_t mark = rest.rfind(" #"); mark != std::string_view::npos) {
        out.tag = trim(rest.substr(mark + 2));
        rest = trim(rest.substr(0, mark));
    }
    if (rest.empty())
        return usage_error("keep-form", printable(text), "does not say what is kept",
                           "write slot and thing, e.g. \"B2: owner's map card #17\"");
    out.words = rest;
    return out;
}

std::string words_of(const Keeping& thing) {
    return (thing.slot.empty() ? "" : thing.slot + ": ") + thing.words + (thing.tag.empty() ? "" : " #" + thing.tag);
}

NewEntry kept_entry(const Keeping& thing) {
    return {"kept", {{"id", thing.id}, {"words", thing.words}, {"slot", thing.slot}, {"tag", thing.tag}}};
}

Result<KeptThings> keep_things(const Workshop& shop, const KeepRequest& request) {
    if (request.things.empty())
        return usage_error("keep-form", "", "does not say what is kept", "e.g. \"B2: owner's map card #17\"");
    return until_journal_rests([&] { return kept_now(shop, request); });
}

Result<ReturnedThing> return_thing(const Workshop& shop, const ReturnRequest& request) {
    if (trim(request.by).empty())
        return usage_error("option-missing", with(flag("by")), "who gave it back?", "say the name, too");
    const auto job = load_job(shop, request.job);
    if (!job) return pass(job);
    const auto& held = job->keepings;
    const auto at = std::find_if(held.begin(), held.end(), [&](const Keeping& k) {
        return k.id == request.id || k.id == "keeping-" + request.id;
    });
    if (at == held.end())
        return bad_input("keeping-unknown", printable(request.id), known_ids(held),
                         Next{"look at the job: ", propose(Act::show_job, {fettle::job(job->number)})});
    ReturnedThing out{job->number, at->id, at->words, request.by};
    if (auto kept = append_entries(shop, out.job, {{"returned", {{"id", out.id}, {"by", out.by}}}}); !kept)
        return pass(kept);
    return out;
}

}  // namespace fettle::workshop
