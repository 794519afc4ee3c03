// What may be tried after a run broke, as a page and as JSON.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/mend_job.h"

namespace fettle::show {

Answer mended(const workshop::Mended& mended);

}  // namespace fettle::show
