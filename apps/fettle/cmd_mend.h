// fettle mend J: what to do after the last run broke, got stuck or failed.
#pragma once

#include "context.h"
#include "fettle/workshop/mend_job.h"

namespace fettle::app {

Result<Answer> mend_job(Context& context, const workshop::MendRequest& request);

}  // namespace fettle::app
