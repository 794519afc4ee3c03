#include "fettle/workshop/after.h"

#include "fettle/base/json.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/prove_job.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// The list that a release's index would leave, for the boxes of the job.
Result<change::InstalledList> inferred_from(const Workshop& shop, const JobRun& run, const std::string& release) {
    auto shelf = shelf::Shelf::open(shop.shelf_folder());
    if (!shelf) return pass(shelf);
    auto shelved = shelf->find(run.family.id, release);
    if (!shelved) return pass(shelved);
    const change::SetState& set = run.plan.set;
    if (set.empty())
        return bad_input("job-not-planned", "job " + run.number, "its boxes and target are not settled",
                         Next{"run: ", propose(Act::plan, {job(run.number)})});
    return change::infer(shelved->release, set);
}

// A list that somebody saw is worth more than what the release's index would leave.
Result<change::InstalledList> list_of(const Workshop& shop, const JobRun& run, const AfterRequest& request) {
    if (request.withdraw) return change::InstalledList{};
    if (request.list) return change::parse_installed(request.list->text, request.list->place);
    if (auto seen = as_left_of(run.job); seen && seen->origin != Origin::inferred) {
        seen->inferred_from.clear();
        return std::move(*seen);
    }
    return inferred_from(shop, run, request.release);
}

NewEntry as_left_entry(const AsLeft& left) {
    json::array pieces;
    for (const Installed& p : left.list.pieces)
        pieces.push_back({{"box", p.box}, {"name", p.name}, {"version", p.version}});
    json::object entry{{"origin", code(left.list.origin)}, {"installed", std::move(pieces)}};
    if (!left.release.empty()) entry["release"] = left.release;
    if (left.history) entry["history"] = texts_as_json(*left.history);
    return {"as-left", std::move(entry)};
}

}  // namespace

Result<AsLeft> keep_as_left(const Workshop& shop, const AfterRequest& request) {
    if (request.withdraw == (request.list || !request.release.empty()))
        return usage_error("as-left-missing", "as-left", "nothing was said, or a list beside its withdrawal",
                           Next{"give ", with(wanted("typed", "FILE")), ", ", with(wanted("release", "R")),
                                ", or both; or ", with(flag("withdraw")), " alone"});
    return until_journal_rests([&]() -> Result<AsLeft> {
        const auto run = load_job_run(shop, request.job);
        if (!run) return pass(run);
        auto list = list_of(shop, *run, request);
        if (!list) return pass(list);
        AsLeft out{std::move(*list), request.release, request.history, {}};
        if (request.withdraw)
            out.judgement.add({"as-left-not-read", Verdict::cant_say,
                               "the list was withdrawn: what is installed is not known piece by piece", "as-left",
                               "not read"});
        if (out.list.origin == Origin::inferred)
            out.judgement.add({"as-left-inferred", Verdict::mind,
                               "inferred from the release that the box shows; single pieces may still stand as they "
                               "were",
                               "as-left", "inferred"});
        if (auto kept = append_entries(shop, run->number, {as_left_entry(out)}, run->job.last_number); !kept)
            return pass(kept);
        return out;
    });
}

}  // namespace fettle::workshop
