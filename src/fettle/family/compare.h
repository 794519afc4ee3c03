// Two versions of one family file held against each other: what decides more, and what decides less than before.
#pragma once

#include <string>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::family {

// One difference between a family file in use and one offered in its place.
struct Change {
    std::string key;
    std::string before, after;
    bool loosens =
        false;  // removes or weakens a door, a stone, a hold or a condition, or changes a key: needs a named acceptance
};
// Every difference in what decides; a tightening may be taken by itself, a loosening never.
std::vector<Change> compare_families(const Family& in_use, const Family& offered);

}  // namespace fettle::family
