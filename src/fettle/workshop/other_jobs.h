// Jobs of the same book that have the same label and are not handed over.
#pragma once

#include <string>
#include <vector>

#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct OpenElsewhere {
    std::string plate, job, customer;
};
// Labels are compared as typed, without blanks and case. Oldest first; nothing where there is no book, and of a job
// that cannot be read.
std::vector<OpenElsewhere> open_elsewhere(const Workshop& shop, const std::vector<std::string>& plates,
                                          const std::string& but_job = {});

}  // namespace fettle::workshop
