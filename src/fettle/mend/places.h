// Where the run can have broken, with odds: the forecast from the last certain sign on, for a break at any instant
// between the last sign of life and the first sign of trouble. Internal to this room.
#pragma once

#include <vector>

#include "fettle/mend/mend.h"

namespace fettle::mend {

struct Weighed {
    std::vector<double> weight;  // of each moment of the map; adds up to 1
    // For each draw: its moment, and the seconds of the script that are left from there, and from the start.
    struct Draw {
        std::size_t moment = 0;
        double left_s = 0, whole_s = 0, left_of_act_s = 0;
    };
    std::vector<Draw> draws;
};
Weighed weigh(const Question& q);

}  // namespace fettle::mend
