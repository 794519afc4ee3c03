// The ready check as a page and as JSON, and what was answered and signed for.
#pragma once

#include "fettle/show/answer.h"
#include "fettle/workshop/ready_job.h"

namespace fettle::show {

// `shown` is for the JSON, whose items say what betters them as a text.
Answer ready_checked(const workshop::ReadyChecked& checked, const ShowAct& shown);
Answer answered(const workshop::Answered& answered);
Answer accepted(const workshop::Accepted& accepted);

}  // namespace fettle::show
