// fettle ready placard J --out FILE: what hangs in the windscreen or at the bench while a run goes on.
#pragma once

#include <string>

#include "context.h"
#include "fettle/workshop/placard_job.h"

namespace fettle::app {

struct ReadyPlacardOptions {
    workshop::PlacardRequest ask;
    std::string out;  // .svg or .pdf
};
Result<Answer> ready_placard(Context& context, const ReadyPlacardOptions& options);

}  // namespace fettle::app
