// What was marked, and where the run is with it.
#pragma once

#include <string>

#include "fettle/show/answer.h"
#include "fettle/workshop/mark_run.h"

namespace fettle::show {

// "Job 0001X: customer 1007, Vellmoor estate, main 6104183C5."
std::string whose_unit(const book::Job& job);
Answer marked(const workshop::Marked& marked);

}  // namespace fettle::show
