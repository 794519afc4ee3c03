// The room of stored records: one database file, its schema and its transactions. Text and numbers only: bytes belong
// into files named by their digest. Never knows what a record means. SOCI and SQLite stay behind this header.
//
// The file is a SQLite database in WAL mode with full sync: what run() or write() has acknowledged survives a kill and
// a power cut. Several processes may have it open at once; a writer waits for the other, up to `patience`.
#pragma once

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "fettle/base/result.h"

namespace fettle::records {

using Value = std::variant<std::int64_t, std::string>;
enum class Kind { number, text };

// One row, in the order of the asked columns.
struct Row {
    std::vector<Value> values;
    std::int64_t number(std::size_t column) const { return std::get<std::int64_t>(values.at(column)); }
    const std::string& text(std::size_t column) const { return std::get<std::string>(values.at(column)); }
};

// What a database says when it says no; each needs another answer from the caller. Its error code is
// "records-busy", "records-clash", … and its kind is outside, save for clash (a rule of the schema was violated).
enum class Trouble { busy, clash, full, damaged, read_only, cannot_open, other };
Trouble trouble_of(int sqlite_result);  // a result code of SQLite, primary or extended
std::string_view code(Trouble t);

// Each migration is a list of statements; migration k (from 1) brings a file from version k - 1 to k, in one
// transaction. Never edit one that was released: add another.
using Migration = std::vector<std::string>;
struct Schema {
    std::string name;  // what the file is: "book", "shelf"
    std::vector<Migration> migrations;
};

class Database {
public:
    // A file in a place that cannot be written is opened to read only, unless a killed process has left something
    // beside it that must be put in first. Opens or makes the file and brings its schema up to date. outside_error when
    // it cannot be opened or made, is damaged, is no database, is another kind of file than `schema.name`, or was made
    // by a newer version.
    static Result<Database> open(const std::filesystem::path& file, const Schema& schema,
                                 std::chrono::milliseconds patience = std::chrono::seconds(10));
    Database(Database&&) noexcept;
    Database& operator=(Database&&) noexcept;
    ~Database();

    // One statement; parameters are named :a, :b, … and are bound in the order in which they stand. A text that holds
    // NUL is refused (bad_input "text-with-nul").
    Status run(std::string_view sql, const std::vector<Value>& values = {});

    // The same statement once for each row of values, all of the same kinds; prepared once. Inside write(), or each row
    // is a step of its own.
    Status run_each(std::string_view sql, const std::vector<std::vector<Value>>& rows);

    // All rows, their columns in the given kinds. A null reads as 0 or as empty text.
    Result<std::vector<Row>> query(std::string_view sql, const std::vector<Kind>& columns,
                                   const std::vector<Value>& values = {});

    // The same, row by row as they come, so that a million rows need the room of one. `take` must not use the database.
    Status each(std::string_view sql, const std::vector<Kind>& columns, const std::vector<Value>& values,
                const std::function<void(const Row&)>& take);

    // begin immediate … commit. When work returns an error (or throws), all of it is rolled back. Not to be nested.
    // Use it for every read that a write depends on: a plain transaction that reads first fails at once when another
    // process writes.
    Status write(const std::function<Status()>& work);

    // The database's own check of the whole file; outside_error "records-damaged" with what it found.
    Status check();

private:
    struct State;
    explicit Database(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::records
