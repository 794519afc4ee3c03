// Is the box that answers the one of the job? Asked before anything that a box said is kept.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/link/inventory.h"

namespace fettle::workshop {

// The serial number that the job has of a box, by what the box said before; empty: none.
std::string serial_of(const book::Job& job, const std::string& role);

struct Stranger {
    std::string box;       // its role
    bool certain = false;  // false: whether it is another box is not known
    Reason reason;         // "other-box": halt; "identity-not-read": can't say
};
// A box with another plate or serial number than the job's.
std::optional<Stranger> other_box(const book::Job& job, const std::vector<link::BoxInventory>& boxes);
// A memory that could settle what was cleared, from a box that does not say again who it is: a recording that is played
// back, or another box, may stand there.
std::optional<Stranger> nobody_known(const book::Job& job, const std::vector<link::BoxInventory>& boxes,
                                     const std::vector<link::BoxFaults>& memories);

}  // namespace fettle::workshop
