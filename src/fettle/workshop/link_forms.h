// Is what a box says of itself of the form that its family has? A record that was cut, or is of something else, is told
// as it came and is no release.
#pragma once

#include "fettle/family/family.h"
#include "fettle/link/inventory.h"

namespace fettle::workshop {

// Plate by the box's plate rule, release and market by the family's view rule and its order of versions: what was read
// and does not fit becomes unreadable, with the text in `why`. Serial numbers have no form that a family file tells.
void hold_against_forms(link::BoxInventory& box, const family::Family& family);

}  // namespace fettle::workshop
