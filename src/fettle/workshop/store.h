// Every command's way to the bench book: read a job as its entries add up, and append what was seen and decided.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/book/journal.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// Durable when it returns: all entries or none. bad_input for an unknown or mistyped job number, or for an entry that a
// later reading could not fold (a defect of the command that made it: nothing is appended).
// `after`: only if that is the job's last entry (book::Job::last_number); else bad_input "journal-moved".
Status append_entries(const Workshop& shop, const std::string& job, const std::vector<NewEntry>& entries,
                      std::optional<std::int64_t> after = std::nullopt);

// An entry's data as text, with what the machine's own clock says now.
std::string data_of(const Workshop& shop, boost::json::object data);

// The job as its entries add up. bad_input "chain-broken" when an entry was edited, removed, inserted or moved: no
// command goes on from a record that cannot be trusted. Only job show looks on, through read_job.
Result<book::Job> load_job(const Workshop& shop, const std::string& job);

// For showing and searching: the entries and what the chain check says of them, broken or not.
struct JobRecord {
    std::string number;
    std::vector<book::Entry> entries;
    std::optional<book::Break> broken;
};
Result<JobRecord> read_job(const Workshop& shop, const std::string& job);
// load_job of a record that is read already.
Result<book::Job> job_of(const JobRecord& record);

// The book of this home. When it does not exist yet: open_book makes it, existing_book is bad_input "book-missing".
Result<book::Book> open_book(const Workshop& shop);
Result<book::Book> existing_book(const Workshop& shop);

// For an act that reads the job, thinks, and appends `after` what it read: when somebody else wrote meanwhile it is
// done again from the beginning, on the journal as it then is, so that what moved counts if it matters and else does
// not.
template <class Act>
auto until_journal_rests(Act act) {
    for (int tries = 0;; ++tries) {
        auto done = act();
        if (done || done.error().code != "journal-moved" || tries >= 50) return done;
    }
}

}  // namespace fettle::workshop
