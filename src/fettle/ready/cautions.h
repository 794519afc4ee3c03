// Cautions: short sentences for the point of risk. They never replace the vehicle maker's instructions, the local rules
// or the judgement of licensed people, and each says so. docs/cautions.md holds the same words with their grounds.
#pragma once

#include <string>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::ready {

struct Caution {
    std::string id;
    std::string text;
};

// All of them, in the order of docs/cautions.md.
const std::vector<Caution>& cautions();
const Caution& caution(std::string_view id);  // an unknown id is a caller's bug (std::out_of_range)

struct Circumstances {
    bool on_bench = true;
    bool engine_running = false;
    bool battery_charging = false;  // a support supply or charger at a lead-acid battery
    bool part_comes_out = false;    // a display or column part is taken out
};
// Those that apply, most dangerous first.
std::vector<std::string> cautions_for(const Circumstances& c);

}  // namespace fettle::ready
