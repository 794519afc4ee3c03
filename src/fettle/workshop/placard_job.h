// What hangs in the windscreen or at the bench while a step of a job runs. Nothing of the customer is on it.
#pragma once

#include <string>

#include "fettle/ready/placard.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct PlacardRequest {
    std::string job;
    std::string ask_for;  // whom; may be empty
    int step = 0;         // of the plan, from 1; 0: the one that runs, else the first that no run has ended
};
struct PlacardFor {
    std::string job, level;
    ready::PlacardFacts facts;  // times of this machine's clock while a run is open, else durations
    bool run_open = false;
};
// Keeps nothing. bad_input "job-has-no-family", and errors of JobRun::step.
Result<PlacardFor> placard_of(const Workshop& shop, const PlacardRequest& request);

}  // namespace fettle::workshop
