// fettle ready placard J --out FILE: what hangs in the windscreen or at the bench while a run goes on.
#pragma once

#include <string>

#include "context.h"

namespace fettle::app {

struct ReadyPlacardOptions {
    std::string job, out;  // .svg or .pdf
    std::string ask_for;   // --by NAME
    int step = 0;
};
Result<Answer> ready_placard(Context& context, const ReadyPlacardOptions& options);

}  // namespace fettle::app
