// fettle job open, list, show, note, keep, return, loose-ends: the bench book. Asks nothing interactively.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct JobOpenOptions {
    std::string customer;  // a number or a word, never checked against anything; required
    std::string vehicle, vin, complaint;
    std::string place = "bench";        // or "vehicle"
    std::vector<std::string> plates;    // as typed
    std::optional<int> housings;        // how many housings came in
    std::vector<std::string> keep;      // "slot: words" or "slot: words #tag"
    std::vector<std::string> consents;  // "one-way", "name on the sheet", …
    std::string by;                     // who took it in
};
// Prints the new job's number; data.job holds it.
Result<Answer> job_open(const Context& context, const JobOpenOptions& options);

Result<Answer> job_list(const Context& context);

struct JobShowOptions {
    std::string job;
    bool entries = false;  // the journal's entries one by one, too
};
// A broken chain is said first and is bad_input (exit 3), with the entry where it breaks.
Result<Answer> job_show(const Context& context, const JobShowOptions& options);

struct JobNoteOptions {
    std::string job, text, by;
    std::optional<long long> correct;  // number of the entry to put right; then field, value, why and by are needed
    std::string field, value, why;
};
Result<Answer> job_note(const Context& context, const JobNoteOptions& options);

struct JobKeepOptions {
    std::string job;
    std::vector<std::string> things;  // "slot: words" or "slot: words #tag"
};
Result<Answer> job_keep(const Context& context, const JobKeepOptions& options);

struct JobReturnOptions {
    std::string job, id, by;  // id "keeping-1" or "1"
};
Result<Answer> job_return(const Context& context, const JobReturnOptions& options);

struct JobConsentOptions {
    std::string job, what, by;
};
Result<Answer> job_consent(const Context& context, const JobConsentOptions& options);

struct JobLooseEndsOptions {
    std::string job;
    std::string settle, how;   // --settle ID --how TEXT --by NAME
    std::string sign, reason;  // --sign ID --by NAME --reason TEXT
    std::string by;
};
Result<Answer> job_loose_ends(const Context& context, const JobLooseEndsOptions& options);

}  // namespace fettle::app
