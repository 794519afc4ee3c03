// What feeds the boxes, read by instrument: fettle ready supply J --from SOURCE (once, for the check), ready guard J
// --supply SOURCE (while a run is open: says a broken hold at once and records it), ready breach J HOLD (a person's
// tap).
#pragma once

#include <string>

#include "context.h"
#include "fettle/base/supply_sample.h"
#include "fettle/ready/holds.h"
#include "fettle/workshop/job_run.h"

namespace fettle::app {

struct ReadySupplyOptions {
    std::string job, from;
    double for_s = 0;  // of a pipe: how long to listen; 0: what is there now
};
Result<Answer> ready_supply(Context& context, const ReadySupplyOptions& options);

struct ReadyGuardOptions {
    std::string job, supply, listen;  // at least one of the two
    double for_s = 0;                 // 0: until the run ends
};
// Never writes to the supply, never ends because of it. Breaches are appended as they are seen.
Result<Answer> ready_guard(Context& context, const ReadyGuardOptions& options);

struct ReadyBreachOptions {
    std::string job, hold, says;
};
Result<Answer> ready_breach(Context& context, const ReadyBreachOptions& options);

}  // namespace fettle::app
