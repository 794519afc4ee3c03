// Which asks of a job's last run nobody answered.
#pragma once

#include <string>
#include <vector>

#include "fettle/book/job.h"
#include "fettle/family/family.h"

namespace fettle::workshop {

// Act ids, in the order of the alphabet: marked as skipped, or never marked as answered; of a run that was broken off
// only those that were marked as come. An end that a person settled ("it was answered") counts as answered. Empty
// without a run.
std::vector<std::string> asks_skipped(const family::Family& family, const book::Job& job);

}  // namespace fettle::workshop
