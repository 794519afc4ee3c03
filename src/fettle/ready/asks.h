// Every ask that the script has coming, proved now: does the control that it needs answer, and if not, does another
// answer go on? A run that cannot be answered cannot finish.
#pragma once

#include <string>
#include <vector>

#include "fettle/ready/ready.h"

namespace fettle::ready {

struct AskItem {
    Item item;
    std::string wanted;  // key that would settle it; empty when nothing is open
};

std::vector<AskItem> judge_asks(const family::Family& family, const Told& told);

}  // namespace fettle::ready
