// What the ready check needs of a supply, read from it or from a series of samples. It is only asked, never set, and
// its output is never switched.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct SupplyRequest {
    std::string job, from;  // a source as link/supply_source.h has it
    double for_s = 0;       // of a series: for how long to listen, up to an hour; 0: what is there now
};
struct SupplyRead {
    std::string job;
    std::vector<std::pair<std::string, std::string>> kept;  // answers of the check, marked as read
    std::string maker_and_model;                            // of a bench supply; empty: a series was read
    std::size_t readings = 0;                               // of a series
    std::optional<double> measured_A;                       // drawn now; of a series the most
    Judgement judgement;                                    // figures that the check does not take are named, not kept
};
// Of a series the lowest voltage counts. Errors: of the source, outside when a bench supply cannot be asked;
// bad_input "job-has-no-family".
Result<SupplyRead> read_supply(const Workshop& shop, const SupplyRequest& request);

}  // namespace fettle::workshop
