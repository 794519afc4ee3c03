// What was left and whether it is proved, as a page and as JSON.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/after.h"
#include "fettle/workshop/prove_job.h"

namespace fettle::show {

Answer as_left(const workshop::AsLeft& left);
Answer proved(const workshop::Proved& proved, bool full);  // full: every piece

}  // namespace fettle::show
