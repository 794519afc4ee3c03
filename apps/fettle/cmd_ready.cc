#include "cmd_ready.h"

#include "commands.h"
#include "fettle/show/ready.h"

namespace fettle::app {

Result<Answer> ready_check(Context& context, const workshop::ReadyRequest& request) {
    const auto checked = workshop::check_ready(context, request);
    if (!checked) return pass(checked);
    return show::ready_checked(*checked, as_command);
}

Result<Answer> ready_answer(Context& context, const workshop::AnswerRequest& request) {
    const auto answered = workshop::answer(context, request);
    if (!answered) return pass(answered);
    return show::answered(*answered);
}

Result<Answer> ready_accept(Context& context, const workshop::AcceptRequest& request) {
    const auto accepted = workshop::accept(context, request);
    if (!accepted) return pass(accepted);
    return show::accepted(*accepted);
}

}  // namespace fettle::app
