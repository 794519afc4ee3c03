#include "fettle/workshop/step_before.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/workshop/prove_job.h"

namespace fettle::workshop {

std::optional<Reason> step_before(const JobRun& run, const plan::PlanStep& step) {
    const auto& steps = run.plan.steps;
    const auto at = std::find_if(steps.begin(), steps.end(), [&](const plan::PlanStep& s) { return &s == &step; });
    if (at == steps.begin() || at == steps.end()) return std::nullopt;
    const plan::PlanStep& before = *std::prev(at);
    const std::string name = fmt::format("step {} to {}", at - steps.begin(), printable(before.release.release));
    const auto& runs = run.job.runs;
    const bool ended = std::any_of(runs.begin(), runs.end(), [&](const book::Run& r) {
        return r.outcome == RunState::ended && !r.early && r.release == before.release.release &&
               !end_against_counts(run, r);
    });
    if (!ended)
        return Reason{"step-before-open", Verdict::halt, name + " was not run to its end", "step before", "journal"};
    if (runs.back().release != before.release.release) return std::nullopt;  // a later run tells of the box now
    const change::InstalledList expected = change::after(before.sheet, before.release, before.installed);
    const prove::Answer proof =
        prove::prove(run.family, before.sheet, expected, before.after, evidence_of(run, std::nullopt));
    if (proof.proof == prove::Proof::failed)
        return Reason{
            "step-before-failed", Verdict::halt, name + " has not left what it should: " + proof.sentence,
            "step before",        "journal",     Next{"see what was left: ", propose(Act::prove, {job(run.number)})}};
    if (run.job.proved == prove::words(prove::Proof::proved)) return std::nullopt;
    return Reason{"step-before-not-proved",
                  Verdict::mind,
                  "that " + name + " landed is not proved",
                  "step before",
                  "journal",
                  Next{"prove it first: ", propose(Act::prove, {job(run.number)})}};
}

}  // namespace fettle::workshop
