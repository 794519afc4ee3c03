// A job together with the plan that its facts give now: what ready, prove and handover compute with. Where a run of it
// is: run_follow.h.
#pragma once

#include <optional>
#include <string>

#include "fettle/book/job.h"
#include "fettle/plan/plan.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct JobRun {
    std::string number;
    book::Job job;
    family::Family family;
    plan::Plan plan;                          // made again from the job's plates, release and target; may have no steps
    std::map<std::string, bool> right_known;  // release on the shelf → its slip names a right of use
    bool family_changed = false;              // the family file is not the one the job was identified with

    bool on_bench() const { return job.place != Place::vehicle; }
    // 1-based number of the first step that no run has ended; 0 when all are done or there are none.
    int next_step() const;
    // By number; bad_input when there is no such step, with what there is.
    Result<const plan::PlanStep*> step(int number) const;
    // The release that a step installs; without a plan it is the one on the job's card, if there is one.
    std::string release_of(const plan::PlanStep& step) const;
    std::string level() const;  // of its family, for Answer::level
    // The step that a run was of; nullptr when the plan no longer has it.
    const plan::PlanStep* step_of(const book::Run& run) const;
};

// Boxes that no known family has: what goes on without one (ready, watch, mark) takes a family that says nothing.
enum class Unidentified { refused, allowed };

// bad_input "job-has-no-family" before identify unless allowed, "chain-broken" when the journal was edited. Without a
// plan: load_job_and_family().
Result<JobRun> load_job_and_family(const Workshop& shop, const std::string& job,
                                   Unidentified unidentified = Unidentified::refused);
// The same for a job that is loaded already, in two steps. with_family: without a plan.
Result<JobRun> with_family(const Workshop& shop, book::Job job, Unidentified unidentified = Unidentified::refused);
Status add_plan(const Workshop& shop, JobRun& run);
Result<JobRun> load_job_run(const Workshop& shop, const std::string& job,
                            Unidentified unidentified = Unidentified::refused);

// The same for looking at its last run: without a plan where the journal keeps what that run is held against.
Result<JobRun> load_last_run(const Workshop& shop, const std::string& job);

}  // namespace fettle::workshop
