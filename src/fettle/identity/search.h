// All texts that a pattern accepts and that the typed text can be read as, cheapest first: the product of the pattern's
// automaton and the look-alike graph. Internal to identity/.
#pragma once

#include <string>
#include <vector>

#include "fettle/family/label.h"
#include "fettle/identity/lookalike.h"

namespace fettle::identity {

// What each typed character may be read as, itself first; empty for a character that no pattern can hold.
using Choices = std::vector<std::vector<LookAlike>>;

struct Candidate {
    std::string text;
    double cost = 0;
};

struct Found {
    std::vector<Candidate> agreed;       // pattern and check character, cheapest first
    std::vector<Candidate> check_wrong;  // pattern only, cheapest first, a few
    bool more = false;                   // stopped early: everything not found costs at least `stopped_at`
    double stopped_at = 0;
};

Found search(const family::LabelMatcher& matcher, const Choices& choices);

// How far any reading gets, and the pattern's states there.
struct Prefix {
    std::size_t characters = 0;
    family::Pattern::States at;
};
Prefix longest_prefix(const family::Pattern& pattern, const Choices& choices);

}  // namespace fettle::identity
