// Every command's way to the bench book: read a job as its entries add up, and append what was seen and decided.
#pragma once

#include <boost/json/array.hpp>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/book/job.h"
#include "fettle/book/journal.h"

namespace fettle::app {

// Durable when it returns: all entries or none. bad_input for an unknown or mistyped job number, or for an entry that a
// later reading could not fold (a defect of the command that made it: nothing is appended).
// `after`: only if that is the job's last entry (book::Job::last_number); else bad_input "journal-moved".
Status append_entries(const Context& context, const std::string& job, const std::vector<NewEntry>& entries,
                      std::optional<std::int64_t> after = std::nullopt);

// The job as its entries add up. bad_input "chain-broken" when an entry was edited, removed, inserted or moved: no
// command goes on from a record that cannot be trusted. Only job show looks on, through read_job.
Result<book::Job> load_job(const Context& context, const std::string& job);

// For showing and searching: the entries and what the chain check says of them, broken or not.
struct JobRecord {
    std::string number;
    std::vector<book::Entry> entries;
    std::optional<book::Break> broken;
};
Result<JobRecord> read_job(const Context& context, const std::string& job);

// The book of this home. When it does not exist yet: open_book makes it, existing_book is bad_input "book-missing".
Result<book::Book> open_book(const Context& context);
Result<book::Book> existing_book(const Context& context);

// Reasons as entries and JSON documents keep them.
boost::json::array reasons_as_json(const std::vector<Reason>& reasons);

}  // namespace fettle::app
