// Functions of a family that somebody tried after the run, as the job's answers keep them: key "tried.RUN.WORDS".
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/book/job.h"
#include "fettle/family/family.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// After the last run: true good, false not good, absent not tried.
std::optional<bool> tried_and_good(const book::Job& job, const std::string& words);

// "1,3" or "2" → the family's functions, by their words. usage "function-unknown".
Result<std::vector<std::string>> functions_by_number(const family::Family& family,
                                                     const std::vector<std::string>& given);

// Says so in the job, and as an entry for its journal.
NewEntry tried(book::Job& job, const std::string& words, bool good);

}  // namespace fettle::workshop
