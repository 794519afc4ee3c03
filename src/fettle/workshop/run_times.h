// How long own runs took, over all jobs of the book; and how a promise held.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "fettle/book/job.h"
#include "fettle/forecast/forecast.h"
#include "fettle/plan/plan.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// Of this family, by release, oldest first; empty when the book has none or cannot be read.
std::map<std::string, std::vector<forecast::PastRun>> own_runs_of(const Workshop& shop, const std::string& family);

// The data of the book's `times` entries as they stand: put right where somebody did, without those taken back, oldest
// first. Of those with a doubt nothing is learnt and no promise is scored.
Result<std::vector<boost::json::object>> times_kept(const Workshop& shop);
bool counts(const boost::json::object& times);

// The entry that keeps how long a run took and scores its promise; p50_s and p90_s 0: nothing was promised. `doubt` as
// in book::RunTimes.
NewEntry times_entry(const std::string& family, const book::Run& run, double seconds,
                     const forecast::Quantiles& promised, const std::string& doubt);
// The members of it that follow from the seconds.
void score(boost::json::object& times, double seconds, double p50_s, double p90_s);

// No good run by that forecast is so short, or so long: its one in ten thousand. Empty: neither; nothing was promised.
std::string odd_length(double seconds, const forecast::Quantiles& promised);

// What became of jobs of this family with such a complaint, by the release that was left; the job itself is left out.
// Empty without a complaint or a book; a job that cannot be read is no outcome.
std::vector<plan::OwnOutcome> own_outcomes_of(const Workshop& shop, const std::string& family,
                                              const std::string& complaint, const std::string& but_job);

}  // namespace fettle::workshop
