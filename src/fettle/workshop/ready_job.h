// The ready check of a job: what the rooms found of it, put to the ready room. Starting a run and the placard ask the
// same.
#pragma once

#include <vector>

#include "fettle/ready/ready.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// A step of the plan; of a family of which too little is known for a plan, one that knows nothing. Errors: of
// JobRun::step.
Result<const plan::PlanStep*> step_or_none(const JobRun& run, int wanted);

ready::Check ready_of(const JobRun& run, const plan::PlanStep& step, UnixMs now);
// Those that count for the next start: given since the last run began.
std::vector<ready::Acceptance> signatures_of(const book::Job& job);
// `step`: its number from 1; 0 when it is none of the plan's.
NewEntry ready_entry(const ready::Check& check, int step);

}  // namespace fettle::workshop
