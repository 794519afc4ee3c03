// fettle ready check J, ready answer J KEY=VALUE…, ready accept J CODE --by NAME --reason TEXT.
#pragma once

#include "context.h"
#include "fettle/workshop/ready_job.h"

namespace fettle::app {

Result<Answer> ready_check(Context& context, const workshop::ReadyRequest& request);
Result<Answer> ready_answer(Context& context, const workshop::AnswerRequest& request);
Result<Answer> ready_accept(Context& context, const workshop::AcceptRequest& request);

}  // namespace fettle::app
