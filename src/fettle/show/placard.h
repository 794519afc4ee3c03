// That a placard was written, and what it says, as a page and as JSON. The sheet itself: ready/placard.h.
#pragma once

#include <string>

#include "fettle/show/answer.h"
#include "fettle/workshop/placard_job.h"

namespace fettle::show {

Answer placard_written(const workshop::PlacardFor& placard, const std::string& file);

}  // namespace fettle::show
