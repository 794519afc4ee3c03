// What every command on the link hands to its connections: what may be sent in the state the job is in, and where the
// exchange is written down.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/link/client.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// How a command of the link asks, where it is not the usual way.
struct LinkHow {
    link::Timing timing{};
    std::uint16_t tester = 0x0E80;  // the address that this machine goes by
    int reconnects = 0;             // as link::Options has it
    double wait_s = 0;              // so long somebody who does not take the connection is waited for
    link::Cancel cancel{};          // Ctrl-C: ends any wait; what was read until then is kept
    std::function<void(const std::string&)> progress{};  // while a box says "wait", or is waited for
};

// "link-lost-once": a connection was lost in the middle of a reading, and the reading went on over another.
Reason lost_once(const std::string& via);

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
