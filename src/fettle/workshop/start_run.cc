#include "fettle/workshop/start_run.h"

#include "fettle/base/text.h"
#include "fettle/plan/expected.h"
#include "fettle/workshop/ready_job.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

const char* const kUnknownRelease = "a release not known";  // of a run without plan and card

Status may_begin(const JobRun& run, const StartRequest& request, UnixMs begun) {
    if (run.job.is_open_run())
        return bad_input("run-open", "job " + run.number,
                         "the run to " + run.job.runs.back().release + " has not ended",
                         Next{"mark its end first: ", propose(Act::mark, {job(run.number), given("event", "ended")}),
                              ", or broken-off"});
    if (request.ago_s > 0 && !run.job.runs.empty() && begun < run.job.runs.back().ended.value_or(0))
        return bad_input("ago-too-long", with(flag("ago")), "the run before it had not ended then",
                         "count from when this run began: seconds, or 12m");
    if (trim(request.by).empty())
        return usage_error("start-without-name", with(flag("by")), "who begins the run is not said",
                           Next{"give ", with(wanted("by", "NAME"))});
    return {};
}

NewEntry started_entry(const JobRun& run, const plan::PlanStep& step, int number, const StartRequest& request,
                       bool against_halt) {
    const std::string release = run.release_of(step);
    NewEntry out{
        "started",
        {{"release", release.empty() ? kUnknownRelease : release}, {"by", request.by}, {"against_halt", against_halt}}};
    // What a broken run has written stands: this one goes on from there, and is no measure of a whole one.
    const auto& runs = run.job.runs;
    if (!runs.empty() && runs.back().outcome == RunState::broken_off && runs.back().release == release)
        out.data["continued"] = true;
    if (number > 0) {
        out.data["step"] = number;
        out.data["expected"] = plan::expected_as_json(step);
    }
    if (request.ago_s > 0) out.data["ago_s"] = request.ago_s;
    return out;
}

Result<Started> started_now(const Workshop& shop, const StartRequest& request) {
    const auto run = load_job_run(shop, request.job, Unidentified::allowed);
    if (!run) return pass(run);
    const UnixMs now = shop.clock->now();
    if (auto ok = may_begin(*run, request, now - static_cast<UnixMs>(1000 * request.ago_s)); !ok) return pass(ok);
    const auto step = step_or_none(*run, request.step);
    if (!step) return pass(step);
    const int number = run->plan.steps.empty() ? 0 : static_cast<int>(*step - run->plan.steps.data()) + 1;
    const auto checked = ready_of(shop, *run, **step, now);
    if (!checked) return pass(checked);
    const ready::Check& check = *checked;
    ready::MayStart may = ready::may_start(check.judgement, signatures_of(run->job));
    Started out{run->number, run->level(), may.yes || request.against_halt, {}};
    std::vector<NewEntry> entries{ready_entry(check, number)};
    if (out.begun)
        entries.push_back(started_entry(*run, **step, number, request, !may.yes));
    else
        out.standing = std::move(may.standing);
    if (auto kept = append_entries(shop, run->number, entries, run->job.last_number); !kept) return pass(kept);
    return out;
}

}  // namespace

Result<Started> start_run(const Workshop& shop, const StartRequest& request) {
    return until_journal_rests([&] { return started_now(shop, request); });
}

}  // namespace fettle::workshop
