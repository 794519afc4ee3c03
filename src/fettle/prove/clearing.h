// Which entries of a box may be cleared. The rule, in one place: only what is explained and not failing; and a box that
// takes nothing but "all" is asked for that only when every other entry it holds is signed for by name.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/prove/faults.h"

namespace fettle::prove {

struct ToClear {
    std::vector<std::string> codes;   // explained and not failing
    std::vector<std::string> others;  // stored beside them
    std::vector<Reason> staying;      // "fault-stays", one for each of the others
};
ToClear to_clear(const Faults& faults, const std::string& box);

// All of the others may go with them, by those that somebody signed for. False when there are none: then "all" is asked
// for nothing.
bool others_may_go(const ToClear& choice, const std::vector<std::string>& signed_for);

}  // namespace fettle::prove
