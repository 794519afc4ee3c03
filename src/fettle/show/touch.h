// The touch test as grids to touch along, and as JSON.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/touch_screens.h"

namespace fettle::show {

// Nothing beyond ASCII in the grids when so asked.
Answer touched(const workshop::Touched& touched, bool ascii);
// One screen with its grid, for who is asked for each of its areas.
std::string touch_page(const ready::TouchTest& screen, bool ascii);

}  // namespace fettle::show
