// Proof for a job: is what is installed now what the plan wanted, piece by piece, and what does the fault memory say?
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/change/change.h"
#include "fettle/prove/faults.h"
#include "fettle/prove/prove.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct ProveRequest {
    std::string job;
    // Functions of the family by number, from 1, also "1,3": tried and good, or not good. usage "function-unknown".
    std::vector<std::string> tried, tried_bad;
};

struct ToTry {
    std::size_t number = 0;  // from 1, of the family's functions
    std::string words;
};
struct Proved {
    std::string job, level, release;
    prove::Answer proof;
    std::vector<ToTry> to_try;
    prove::Faults faults;
    Judgement judgement;  // of the proof and of the faults
};
// bad_input "no-run"; "step-not-planned" when what the run should have left is not known any more.
Result<Proved> prove_job(const Workshop& shop, const ProveRequest& request);

// What a job's entries say for the proof of its last run.
prove::Evidence evidence_of(const JobRun& run, std::optional<double> since_end_s);
// What the box counted last says that its end is none: pieces still to come, or not one landed where some were to.
bool end_against_counts(const JobRun& run, const book::Run& which);
// The list of pieces as left; absent: none was read or typed.
std::optional<change::InstalledList> as_left_of(const book::Job& job);

}  // namespace fettle::workshop
