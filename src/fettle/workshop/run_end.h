// The end of a run, and how long it took: doubted before it teaches, stated by a person, taken back.
#pragma once

#include <string>
#include <vector>

#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// What an end marked at `at` (the wall's clock, now) adds to the journal beside the mark: the end, and how long the run
// took with what stands against counting it.
std::vector<NewEntry> end_entries(const Workshop& shop, const JobRun& run, UnixMs at);

// `said`: seconds as text, "as-marked" or "not-known". Puts right what the journal has of the last run's end. usage
// "lasted-unreadable"; bad_input "run-not-ended", "nothing-in-doubt", "lasted-impossible".
Result<std::vector<NewEntry>> lasted_entries(const Workshop& shop, const JobRun& run, const std::string& said,
                                             const std::string& by);

// Takes the last run's end back: it is open again. bad_input "end-not-undone" when what was kept since rests on it.
Result<std::vector<NewEntry>> end_taken_back(const Workshop& shop, const JobRun& run);

}  // namespace fettle::workshop
