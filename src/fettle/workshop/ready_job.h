// May a step of a job start, and can it finish? What was found for the job is put to the ready room; what a person
// answers or signs for is kept. Starting a run and the placard ask the same.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "fettle/ready/ready.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct ReadyRequest {
    std::string job;
    int step = 0;  // of the plan, from 1; 0: the first that no run has ended
};
struct ReadyChecked {
    std::string job, level;
    std::string release;   // that the run would install; empty: not known
    bool planned = false;  // false: no plan looked at it
    int step = 0;          // of the plan, from 1
    ready::Check check;
    std::vector<Acceptance> signed_for;
    ready::MayStart may;
};
// Every precondition and hold with its value; keeps the verdict. Errors: of step_or_none.
Result<ReadyChecked> check_ready(const Workshop& shop, const ReadyRequest& request);

struct AnswerRequest {
    std::string job;
    std::vector<std::string> answers;  // "knob=answers", "supply.volts=13.5"
};
struct Answered {
    std::string job;
    std::vector<std::pair<std::string, std::string>> kept;  // key and value, as said
};
// All are checked before any is kept. usage "answer-missing", "answer-not-key-value", and those of ready::check_answer.
Result<Answered> answer(const Workshop& shop, const AnswerRequest& request);

struct AcceptRequest {
    std::string job;
    std::string code;  // "hold-not-confirmed:doors", or the bare code when it is the only one
    std::string by, reason;
    int step = 0;  // as for ReadyRequest
};
struct Accepted {
    std::string job;
    Acceptance signature;  // its code says where; its verdict is what was signed for
};
// usage errors of ready::may_accept.
Result<Accepted> accept(const Workshop& shop, const AcceptRequest& request);

// "knob=answers" in two; usage "answer-not-key-value" without an equals sign, with `next`.
Result<std::pair<std::string, std::string>> key_and_value(const std::string& text, Next next);
// An answer as the journal keeps it. `source`: "read" of an instrument; empty: typed.
NewEntry answered_entry(const std::string& key, const std::string& value, const std::string& source = {});

// A step of the plan; of a family of which too little is known for a plan, one that knows nothing. Errors: of
// JobRun::step.
Result<const plan::PlanStep*> step_or_none(const JobRun& run, int wanted);

// Also against the job's cards: one that is another family's or market's, or at which its audit stopped, is a halt.
Result<ready::Check> ready_of(const Workshop& shop, const JobRun& run, const plan::PlanStep& step, UnixMs now);
// Those that count for the next start: given since the last run began.
std::vector<Acceptance> signatures_of(const book::Job& job);
// `step`: its number from 1; 0 when it is none of the plan's.
NewEntry ready_entry(const ready::Check& check, int step);

}  // namespace fettle::workshop
