// fettle ready J, ready answer J KEY=VALUE…, ready accept J CODE --by NAME --reason TEXT.
#pragma once

#include <string>
#include <vector>

#include "context.h"
#include "fettle/ready/ready.h"
#include "fettle/workshop/job_run.h"

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

// A step of the plan; of a family of which too little is known for a plan, one that knows nothing. Errors: of
// JobRun::step.
Result<const PlanStep*> step_or_none(const JobRun& run, int wanted);

// What start needs: the check of a step, and the signatures given since the last run began.
ready::Check ready_of(const JobRun& run, const PlanStep& step, UnixMs now);
std::vector<ready::Acceptance> signatures_of(const book::Job& job);
NewEntry ready_entry(const ready::Check& check, int step);

}  // namespace fettle::app
