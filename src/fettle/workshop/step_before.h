// The step that comes before another: nothing is put on what it has not left.
#pragma once

#include <optional>

#include "fettle/base/verdict.h"
#include "fettle/workshop/job_run.h"

namespace fettle::workshop {

// "step-before-open": it was not run to its end: halt. "step-before-failed": what is known of it is not what it should
// have left: halt. "step-before-not-proved": nothing speaks against it, and it is not proved: mind. Nullopt: the first
// step, one of no plan, or the step before is proved.
std::optional<Reason> step_before(const JobRun& run, const plan::PlanStep& step);

}  // namespace fettle::workshop
