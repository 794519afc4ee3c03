// The two tables of the book, and how they are read. Internal to this room.
#pragma once

#include <filesystem>
#include <string_view>

#include "fettle/book/journal.h"
#include "fettle/records/database.h"

namespace fettle::book {

extern const records::Schema schema;

// Both are bad_input "job-unknown" for a job that is not in the file.
Result<Head> head_in(records::Database& db, const std::filesystem::path& file, std::string_view job);
// The entries after number `after`, and the head, of one instant.
Result<Journal> journal_in(records::Database& db, const std::filesystem::path& file, std::string_view job,
                           std::int64_t after);

}  // namespace fettle::book
