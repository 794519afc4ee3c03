// What became of recordings: played back, copied without names, erased.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/recordings.h"

namespace fettle::show {

Answer replayed(const workshop::Replayed& replayed);
Answer blanked(const workshop::Blanked& blanked);
Answer erased(const workshop::Erased& erased);

}  // namespace fettle::show
