// What as-left, faults, link faults, link clear and prove share about a job's fault memory: its records as values for
// the prove room, what is known of the circumstances, and the loose ends that follow.
#pragma once

#include <string>
#include <vector>

#include "fettle/prove/faults.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

prove::FaultMemory memory_of(const book::FaultRecord& record);

// The entries of the latest reading, held against before, the run and what was cleared.
prove::Faults faults_of(const Workshop& shop, const JobRun& run);

// Loose ends that the bits open or settle. To be appended after the reading itself, with the job as it then is.
std::vector<NewEntry> ends_that_follow(const JobRun& run, const prove::Faults& faults);

// After a reading was appended: the job is loaded again into `run`, the reading held against the rest of it, and the
// loose ends that follow are kept.
Result<prove::Faults> follow_up(const Workshop& shop, JobRun& run);

}  // namespace fettle::workshop
