// The bench book's store: a job is its journal, an append-only chain of entries. Each entry's digest covers the digest
// of the one before it, so an edit of yesterday's record breaks the chain at that entry. Mistakes are mended by
// correcting entries. Touches the database; never interprets an entry (that is job.h).
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/result.h"

namespace fettle::book {

struct Entry {
    std::int64_t number = 0;  // 1, 2, … within the job
    UnixMs at = 0;
    std::string type;      // docs/journal.md
    std::string data;      // one JSON object, as it was appended
    std::string previous;  // digest of the entry before, 64 zeros for the first
    std::string digest;    // SHA-256, lower-case hex, over the canonical form in docs/journal.md
};

// The digest an entry must have: pure.
std::string entry_digest(std::string_view job, const Entry& entry);

// The number of the first entry where the chain does not hold, and why; nullopt when it holds. Pure.
struct Break {
    std::int64_t number = 0;
    std::string why;
};
// The book also keeps the number and digest of each job's last entry, so that entries cut off at the end are noticed.
struct Head {
    std::int64_t number = 0;
    std::string digest;
};
std::optional<Break> check_chain(std::string_view job, const std::vector<Entry>& entries,
                                 const std::optional<Head>& head = std::nullopt);

struct Journal {  // both read at one instant, also while others append
    std::vector<Entry> entries;
    Head head;
};

struct Addition {
    std::string type;  // lower-case letters, digits and hyphens
    std::string data;  // one JSON object, no NUL
};

class Book {
public:
    // Opens or makes the book. outside_error when it cannot be (read-only, full, damaged, not a book).
    static Result<Book> open(const std::filesystem::path& file);
    Book(Book&&) noexcept;
    Book& operator=(Book&&) noexcept;
    ~Book();

    // Takes the next job number (four digits and an ISO/IEC 7064 MOD 11-2 check character) and appends `data` as its
    // first entry, type "opened", and `more` after it: all or none. Durable when it returns.
    Result<std::string> open_job(std::string_view data, UnixMs at, const std::vector<Addition>& more = {});

    // Appends durably: when it returns, a kill or power cut does not lose it. bad_input for an unknown job or a number
    // whose check character is wrong (says which character is wanted); NUL in data is refused.
    Result<Entry> append(std::string_view job, std::string_view type, std::string_view data, UnixMs at);

    // Several, all or none: one durable step. Entries of other processes may stand before them, never between. `after`:
    // only if that is the number of the job's last entry, for what was decided on reading it; else bad_input
    // "journal-moved" and nothing is appended: read it again.
    Result<std::vector<Entry>> append_all(std::string_view job, const std::vector<Addition>& additions, UnixMs at,
                                          std::optional<std::int64_t> after = std::nullopt);

    Result<std::vector<Entry>> read(std::string_view job) const;
    Result<Journal> journal(std::string_view job) const;
    Result<std::vector<std::string>> jobs() const;  // oldest first
    // Every entry of one type, over all jobs, oldest first. Chains are not checked.
    struct OfJob {
        std::string job;
        std::int64_t number = 0;
        std::string data;
    };
    Result<std::vector<OfJob>> entries_of(std::string_view type) const;

private:
    struct State;
    explicit Book(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

// Refuses a mistyped job number before any look-up: bad_input "ISO/IEC 7064 MOD 11-2 wants X for 0749".
Status check_job_number(std::string_view job);

}  // namespace fettle::book
