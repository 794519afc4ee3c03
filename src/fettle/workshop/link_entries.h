// What was read over the link as entries of a job's journal (docs/journal.md).
#pragma once

#include <map>
#include <string>
#include <vector>

#include "fettle/book/job.h"
#include "fettle/family/family.h"
#include "fettle/link/inventory.h"
#include "fettle/workshop/moment.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

NewEntry inventory_entry(const link::Inventory& inventory, Moment when);
// `earlier`: what the boxes said before, since the run, by role.
NewEntry as_left_entry(const link::Inventory& inventory, const family::Family& family,
                       const std::map<std::string, book::BoxSaid>& earlier);
NewEntry faults_entry(const std::vector<link::BoxFaults>& faults, const family::Family& family, Moment when,
                      Place place);

}  // namespace fettle::workshop
