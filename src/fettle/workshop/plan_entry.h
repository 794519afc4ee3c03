// A plan as the journal keeps it: with what was typed for it, as values, so that every later act makes the same one.
#pragma once

#include "fettle/plan/plan.h"
#include "fettle/workshop/plan_job.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// offered: what the box's own list was found to be, when one was held against it.
NewEntry planned_entry(const plan::Plan& plan, int cuts, Feeding fed,
                       const std::optional<change::OfferedAnswer>& offered);

}  // namespace fettle::workshop
