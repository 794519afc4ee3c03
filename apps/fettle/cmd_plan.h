// fettle plan.
#pragma once

#include <string>

#include "context.h"
#include "fettle/show/plan.h"
#include "fettle/workshop/plan_job.h"

namespace fettle::app {

struct PlanOptions {
    workshop::PlanAsk ask;
    std::string fed;       // --fed together or apart; empty: as the family file says
    std::string as_found;  // --as-found FILE
    std::string offered;   // --offered FILE; "-": typed
    std::string by;        // --by TIME: when it is to be ready
    std::string picture;   // --picture FILE: route and steps as SVG
    show::PlanStyle style;
};

Result<Answer> plan(Context& context, const PlanOptions& options);

}  // namespace fettle::app
