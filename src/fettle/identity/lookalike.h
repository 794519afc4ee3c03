// Which characters are taken for which others, and how readily. Costs are −ln of the odds "it was the other one"
// against "it was the one typed". No published table was found for plates and screens: all figures are guesses until
// measured, and whatever rests on them says so. Internal to identity/.
#pragma once

#include <vector>

#include "fettle/identity/label.h"

namespace fettle::identity {

struct LookAlike {
    char read;
    double cost;
};

// What a character may have been, itself first at cost 0. Only printable ASCII has look-alikes.
std::vector<LookAlike> look_alikes(char seen, Source source);

// "0 (digit)", "O (letter)", "- (sign)": for questions, where the bare character would not tell.
std::string spoken(char c);

inline constexpr double bound = 12.0;                 // readings dearer than this are not looked for
inline constexpr double taken_ratio = 20.0;           // a reading this many times likelier than the next is taken
inline constexpr double unknown_value_weight = 0.01;  // of a rival whose value nobody knows, where the first is known

}  // namespace fettle::identity
