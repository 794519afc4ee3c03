// What was marked, and where the run is with it.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/mark_run.h"

namespace fettle::show {

Answer marked(const workshop::Marked& marked);

}  // namespace fettle::show
