// What feeds the boxes and what must stay as it is, as pages and as JSON: figures read of a supply, a guarded run, a
// hold seen broken.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/guard_run.h"
#include "fettle/workshop/read_supply.h"

namespace fettle::show {

Answer supply_read(const workshop::SupplyRead& read);
Answer guarded(const workshop::Guarded& guarded);
Answer breached(const workshop::Breached& breached);

}  // namespace fettle::show
