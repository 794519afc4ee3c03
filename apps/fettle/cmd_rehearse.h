// fettle rehearse: the whole job on a virtual set.
#pragma once

#include "context.h"
#include "fettle/rehearse/rehearse.h"

namespace fettle::app {

struct RehearseOptions {
    rehearse::Request ask;
    bool ascii = false;
};
Result<Answer> rehearse_job(const Context& context, const RehearseOptions& options);

}  // namespace fettle::app
