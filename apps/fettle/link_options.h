// What every command on the link hands to its connections: what may be sent in the state the job is in, and where the
// exchange is written down.
#pragma once

#include <string>
#include <vector>

#include "context.h"
#include "fettle/link/client.h"

namespace fettle::app {

// By the job named with --job: while a run of it is open the link is silent, unless every state that the run can be in
// is one that the family file calls safe to poll; then usage "run-under-way" already here, before anything is opened.
// The exchange goes to `record`, else with a job to a file of its own in HOME/recordings, else nowhere.
Result<link::Options> link_options(const Context& context, const std::string& record);

// "Recorded in FILE." or that it could not be written; empty when nothing is recorded.
std::string recording_line(const link::Options& options);

// The entry that names the recording of this job, by its digest as it is now: after the last exchange. Nothing where
// nothing is recorded, or without a job.
std::vector<NewEntry> recorded_entry(const Context& context, const link::Options& options);

}  // namespace fettle::app
