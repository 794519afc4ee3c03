// The wall: every open run on one clock.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/wall.h"

namespace fettle::show {

Answer wall(const workshop::Wall& wall, int width, bool ascii);

}  // namespace fettle::show
