// A map's worst examples, told as a technician would tell them.
#pragma once

#include <string>
#include <vector>

#include "fettle/cutmap/explore.h"

namespace fettle::cutmap {

// "Power goes while the main box writes the start code (loader, 1 of 2). …what follows…"; `more_cuts` further cuts may
// come, placed as in the worst example.
std::string tell(const Model& m, Explorer& explorer, std::vector<Word> state, int more_cuts);

}  // namespace fettle::cutmap
