// The question of the power-cut map as a Promela model, so that SPIN can be asked it too (https://spinroot.com; the
// language is described in Holzmann, The SPIN Model Checker, 2003). Written from the family file and the change sheet;
// explores nothing itself.
#pragma once

#include <string>

#include "fettle/cutmap/cutmap.h"

namespace fettle::cutmap {

// One process with cells as arrays, cuts as free choices, and the outcome as an assertion: none is bench repair or
// lost. Compiled with -DLIST the model prints each outcome instead, a line "outcome MOMENT CUTS CODE" (moments numbered
// as in CutMap::moments of the run as planned; the numbers stand in a comment). Throws where there is no model: a box
// whose boot order is not known, more than 250 cells or acts.
std::string promela(const family::Family& family, const change::ChangeSheet& sheet, int cuts);

}  // namespace fettle::cutmap
