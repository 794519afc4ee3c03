// What the boxes said over the link against what the job was identified with: the reasons that link read, plan, ready
// and prove give for it.
#pragma once

#include <optional>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/link/inventory.h"
#include "fettle/workshop/moment.h"

namespace fettle::workshop {

// "other-vin": a VIN that an announcement or a box gives and the job does not have. Nothing when either has none. A
// used box may keep that of its former vehicle, so it is no halt.
std::optional<Reason> vin_against(const book::Job& job, const std::string& vin, const std::string& where);

// "other-market": halt. "other-release": halt, or can't say where another box of the set gives the job's.
std::vector<Reason> reasons_against(const book::Job& job);

// What the box offered otherwise than planned, while it stands: halt.
std::optional<Reason> offered_before(const book::Job& job);

// The job as it will be once this reading is kept.
book::Job with_reading(book::Job job, const link::Inventory& inventory, Moment when);

}  // namespace fettle::workshop
