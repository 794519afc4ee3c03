// What every command on the link hands to its connections: what may be sent in the state the job is in, and where the
// exchange is written down.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/link/client.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// By the job (empty: none): while a run of it is open the link is silent, unless every state that the run can be in
// is one that the family file calls safe to poll; then usage "run-under-way" already here, before anything is opened.
// The exchange goes to `record`, else with a job to a file of its own in HOME/recordings, else nowhere.
Result<link::Options> link_options(const Workshop& shop, const std::string& job, const std::string& record);

struct Recording {
    std::string file;
    std::string failed;  // why it is not whole; empty: it is
};
// Where the exchange is written down; absent: nowhere.
std::optional<Recording> recording_of(const link::Options& options);

// The entry that names the recording of this job, by its digest as it is now: after the last exchange. Nothing where
// nothing is recorded, or without a job.
std::vector<NewEntry> recorded_entry(const Workshop& shop, const std::string& job, const link::Options& options);
// The same, appended.
Status keep_recording(const Workshop& shop, const std::string& job, const link::Options& options);

}  // namespace fettle::workshop
