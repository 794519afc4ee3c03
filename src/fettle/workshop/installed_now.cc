#include "fettle/workshop/installed_now.h"

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/workshop/prove_job.h"

namespace fettle::workshop {
namespace {

bool has_ended(const book::Run& r) {
    return r.outcome == RunState::ended && !r.early;
}

// The release that a box shows since the last run; empty: nobody said.
std::string shown_by(const book::Job& job, const std::string& role) {
    const auto said = job.said_after.find(role);
    if (said != job.said_after.end() && !said->second.release.empty()) return said->second.release;
    return job.as_left_release;
}

}  // namespace

std::optional<InstalledNow> installed_now(const JobRun& run) {
    const book::Job& job = run.job;
    if (job.runs.empty() || run.plan.set.empty() || (job.runs.size() == 1 && job.is_open_run())) return std::nullopt;
    InstalledNow out;
    out.set = run.plan.set;  // of the last plan; runs to its steps have gone on from there
    for (const book::Run& r : job.runs)
        if (const plan::PlanStep* step = has_ended(r) ? run.step_of(r) : nullptr) out.set = step->after;
    const book::Run& last = job.runs.back();
    if (auto left = as_left_of(job); left && left->origin != Origin::inferred) out.list = std::move(left);
    if (!job.is_open_run() && !has_ended(last) && !out.list)
        out.judgement.add({"run-broke-before", Verdict::cant_say,
                           "the run to " + printable(last.release) +
                               " did not come to its end: pieces of two releases may stand, so this plan starts from "
                               "what nobody has seen",
                           "as found", "journal",
                           Next{"see what may be tried: ", propose(Act::mend, {fettle::job(run.number)})}});
    for (auto& [role, box] : out.set) {
        const std::string shown = shown_by(job, role);
        if (shown.empty() || shown == box.release) continue;
        out.judgement.add({"left-otherwise", Verdict::cant_say,
                           "the " + printable(role) + " shows " + printable(shown) + " since the last run, and " +
                               printable(box.release) + " was to be left: this plan starts from what it shows",
                           role, "typed or read"});
        box.release = shown;
    }
    return out;
}

}  // namespace fettle::workshop
