// Where the run can have broken, with odds: the forecast from the last certain sign on, for a break at any instant
// between the last sign of life and the first sign of trouble. Internal to this room.
#pragma once

#include <vector>

#include "fettle/mend/mend.h"

namespace fettle::mend {

struct Weighed {
    std::vector<double> weight;  // of each moment of the map; adds up to 1
    // Of each moment: could a run have got there that is twice as quick as usual, or as slow as can be? What may harm
    // is judged by these, so that no sign that is missing makes a place drop out by its odds alone.
    std::vector<bool> possible;
    // For each draw: its moment, and the seconds of the script that are left from there, and from the start.
    struct Draw {
        std::size_t moment = 0;
        double left_s = 0, whole_s = 0, left_of_act_s = 0;
    };
    std::vector<Draw> draws;
};
Weighed weigh(const Question& q);

}  // namespace fettle::mend
