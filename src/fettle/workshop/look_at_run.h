// Where the last run of a job is, for one look.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct LookRequest {
    std::string job;
    std::string supply;    // what it has now is taken along first, recorded and witnessed; empty: nothing is
    watch::CallRule rule;  // when hands are called for
};

struct RunLook {
    std::string job, level;
    book::Run run;  // as its journal has it
    watch::Where where;
    RunFollow follow;     // draws it
    Judgement judgement;  // of where it is, and of what it was seen by
};
// bad_input "no-run"; those of the supply's address.
Result<RunLook> look_at_run(const Workshop& shop, const LookRequest& request);

// Of run `number` (from 1) of a job that is loaded.
RunLook look_at(const Workshop& shop, const JobRun& run, std::size_t number, watch::CallRule rule = {});
// Somebody is to state how long it took before it counts.
bool asks_how_long(const book::RunTimes& times);
std::string doubt_words(const book::RunTimes& times);  // why it does not count; of one that has a doubt

tl::unexpected<Error> no_run(const std::string& job);  // bad_input "no-run"

}  // namespace fettle::workshop
