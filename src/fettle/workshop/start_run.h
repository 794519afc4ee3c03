// A run of a job begins now, with what the ready check found in the record before it.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct StartRequest {
    std::string job;
    int step = 0;               // of the plan, from 1; 0: the first that no run has ended
    std::string by;             // who begins it
    double ago_s = 0;           // it began so long ago
    bool against_halt = false;  // begun although ready says no; recorded as such
};

struct Started {
    std::string job, level;
    bool begun = false;
    std::vector<Reason> standing;  // points against it, when it was not begun
};
// Two people who start at once start one run. usage "start-without-name"; bad_input "run-open", "ago-too-long", and
// those of step_or_none.
Result<Started> start_run(const Workshop& shop, const StartRequest& request);

}  // namespace fettle::workshop
