// What feeds the boxes, read by instrument: fettle ready supply J --from SOURCE (once, for the check), ready guard J
// --supply SOURCE (while a run is open), ready breach J HOLD (a person's tap).
#pragma once

#include "context.h"
#include "fettle/workshop/guard_run.h"
#include "fettle/workshop/read_supply.h"

namespace fettle::app {

Result<Answer> ready_supply(Context& context, const workshop::SupplyRequest& request);
// Says a broken hold at once, with the bell.
Result<Answer> ready_guard(Context& context, const workshop::GuardRequest& request);
Result<Answer> ready_breach(Context& context, const workshop::BreachRequest& request);

}  // namespace fettle::app
