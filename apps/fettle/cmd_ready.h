// fettle ready J, ready answer J KEY=VALUE…, ready accept J CODE --by NAME --reason TEXT.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct ReadyOptions {
    std::string job;
    int step = 0;  // --step N, 1-based; 0: the first step that no run has ended
};
// Every precondition and hold with its value; appends the verdict to the job.
Result<Answer> ready_check(Context& context, const ReadyOptions& options);

struct ReadyAnswerOptions {
    std::string job;
    std::vector<std::string> answers;  // "knob=answers", "supply.volts=13.5"; all are checked before any is kept
};
Result<Answer> ready_answer(Context& context, const ReadyAnswerOptions& options);

struct ReadyAcceptOptions {
    std::string job;
    std::string code;  // "hold-not-confirmed:doors", or the bare code when it is the only one
    std::string by, reason;
    int step = 0;
};
Result<Answer> ready_accept(Context& context, const ReadyAcceptOptions& options);

}  // namespace fettle::app
