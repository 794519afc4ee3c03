// Holds of an open run, looked after: by instruments for as long as the run goes on, and by a person who saw one
// broken. Never writes to the supply, never ends a run because of it.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/ready/holds.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct GuardRequest {
    std::string job;
    std::string supply;                           // a source as link/supply_source.h has it; it or the next is needed
    std::string listen;                           // ADDR:PORT where other testers are heard; nothing is sent
    double for_s = 0;                             // 0: until the run ends
    std::function<void(const Breach&)> broken{};  // told at once, when the journal has it
    std::function<void(const Error&)> without_reading{};  // the supply gives nothing, and why; once for each why
};
struct Guarded {
    std::string job;
    bool by_supply = false;
    std::size_t readings = 0, troubles = 0;  // had, and not to be had
    std::vector<Breach> breaches;
    Judgement judgement;
};
// A supply that gives nothing is asked again and ends nothing. usage "guard-without-witness"; bad_input "no-open-run";
// of the source and the address, before it begins.
Result<Guarded> guard_run(const Workshop& shop, const GuardRequest& request);

struct BreachRequest {
    std::string job, hold;
    std::string says;  // what was seen; empty: only that it is not so any more
};
struct Breached {
    std::string job;
    Breach breach;
    Judgement judgement;
};
// bad_input "no-open-run"; usage "hold-unknown" with the holds that there are.
Result<Breached> keep_breach(const Workshop& shop, const BreachRequest& request);

}  // namespace fettle::workshop
