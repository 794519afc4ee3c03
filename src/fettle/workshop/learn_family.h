// What a watched run teaches a family file, line by line; the accepted lines are written into it.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "fettle/learn/learn.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct LearnRequest {
    std::string file;                 // the family file; never one in use here: bad_input "file-in-use"
    std::string job;                  // whose run; usage error "job-missing"
    int run = 0;                      // of the job, from 1; 0: the last that came to its end
    std::vector<std::string> accept;  // numbers of lines, "2-5", or "all"; usage error "line-not-there"
    std::string allowed_by;           // who answers for what weakens the file
};

struct LearntFamily {
    std::string file, job, family, level;
    std::size_t run = 0;  // its number in the job
    std::string run_id;   // 16 hex digits
    learn::Learnt learnt;
    std::set<int> accepted;    // of its lines, from 1
    std::vector<int> unnamed;  // accepted, and would weaken the file, but nobody's name was given: nothing is written
    bool written = false;
    Judgement judgement;
};

// Writes the accepted lines, whole or not at all. bad_input "no-run", "run-not-to-its-end", "family-another".
Result<LearntFamily> learn_family(const Workshop& shop, const LearnRequest& request);

}  // namespace fettle::workshop
