// How honest past forecasts were.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/promises.h"

namespace fettle::show {

Answer promises(const workshop::PromisesScored& scored);

}  // namespace fettle::show
