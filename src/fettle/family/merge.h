// A family file from elsewhere against the one in use, entry by entry: what tightens may be taken by itself, what
// loosens is asked, and what the two say differently stands side by side, each with its source. Pure.
#pragma once

#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/family/family.h"

namespace fettle::family {

struct Difference {
    enum class Kind {
        tightens,  // and words for people
        loosens,   // or may: wants a name
        by_hand,   // cannot be taken by itself, or does not stand in a section of its own
    };
    std::string entry;               // "act recovery", "hold doors", "supply"
    std::vector<std::string> here;   // lines of the file in use that the other has not; empty: it has no such entry
    std::vector<std::string> there;  // and the other way round
    Kind kind = Kind::loosens;
    std::string why;  // by_hand: what stands against it
};

// Only what changes something; remarks and order of keys do not. Both texts load without a mistake.
std::vector<Difference> differences(std::string_view in_use, std::string_view offered);

// The text in use with these differences (by number, from 0) taken over, entry for entry; remarks of the other entries
// stay. bad_input "merge-not-usable" when the outcome would not load.
Result<std::string> merged(std::string_view in_use, std::string_view offered, const std::set<std::size_t>& taken);

}  // namespace fettle::family
