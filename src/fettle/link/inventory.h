// What a set of boxes says of itself, read by the family's link records: plate, serial number, release, market, pieces;
// and its stored fault entries. Each item says whether it was read, refused or not answered; an item that was not read
// is never filled in from another.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/family/family.h"
#include "fettle/link/client.h"

namespace fettle::link {

enum class Known {
    read,
    refused,      // the box answered that it does not give it (why names the code)
    no_answer,    // asked, nothing came
    unreadable,   // answered in a form that cannot be believed
    not_in_file,  // the family file gives no identifier for it
};
std::string_view words(Known k);
std::string_view code(Known k);  // "read", "refused", "no-answer", "unreadable", "not-in-file"

struct Fact {
    Known known = Known::no_answer;
    std::string value;  // only when read; printable ASCII, trailing NUL and blanks removed
    std::string why;    // when not read
};

struct ReadPiece {
    std::string name, version;
    bool operator==(const ReadPiece&) const = default;
};

struct BoxInventory {
    std::string role;
    std::uint16_t address = 0;
    Fact plate, serial, release, market;
    Fact pieces_fact;  // known and why for the list below; value is the record as text
    std::vector<ReadPiece> pieces;
    Fact history_fact;                 // likewise
    std::vector<std::string> history;  // releases that were installed, oldest first, by the box's own record
    std::string via;                   // the transport that it was read over: "doip://127.0.0.1:13400"; may be empty

    bool silent() const;  // not one item was answered
};

struct Inventory {
    std::vector<BoxInventory> boxes;  // in the order of the family's link records

    const BoxInventory* box(std::string_view role) const;
};

// One box by its record; the record's address is the one that is asked.
BoxInventory read_box(Connection& connection, const family::LinkBox& record);
// For a box that could not be asked at all.
BoxInventory not_asked(const family::LinkBox& record, const std::string& why);

// Reads every box of the family that has a link record; only_role, if not empty, limits it to that one.
Inventory read_inventory(Connection& connection, const family::Family& family, std::string_view only_role = {});

struct StoredFault {
    std::string box;   // role
    std::string code;  // "B1A4F-13"
    std::uint8_t status = 0;
};

// What a box keeps beside one entry: its snapshot records (19 04) or its extended data (19 06).
struct Beside {
    Known known = Known::no_answer;
    std::string why;  // when not read
    Bytes raw;        // the whole answer
    Bytes records;    // behind the code and its status; empty: it keeps none
};
struct Details {
    std::string code;
    Beside snapshot, extended;
};

struct BoxFaults {
    std::string role;
    std::uint16_t address = 0;
    Known known = Known::no_answer;
    std::string why;
    std::uint8_t availability = 0;  // status bits that the box supports; only when read
    std::vector<StoredFault> faults;
    Bytes raw;  // the answer as it came, for the record; only when read
    std::string via;
    std::vector<Details> details{};  // of the entries that have failed; empty: not asked
};

// An entry that the box lists twice stands there once; a list that gives it two statuses, or comes from a box that has
// no status bit of a failure, is unreadable.
BoxFaults read_memory(Connection& connection, const family::LinkBox& record, std::uint8_t status_mask = 0xFF);

std::vector<BoxFaults> read_faults(Connection& connection, const family::Family& family,
                                   std::string_view only_role = {}, std::uint8_t status_mask = 0xFF);

// Asks for the snapshots and extended data of every entry that has failed.
void read_details(Connection& connection, BoxFaults& memory);

// What the records say that needs no maker's papers: "record 01, 0xF195 (release) 27.1.110" where a snapshot is of one
// identifier that the family's record names and holds text to its end; "record 01, then 3 bytes". Empty for no record.
std::string snapshot_words(ByteView records, const family::LinkBox& record);
std::string extended_words(ByteView records);

// The "lines" record layout: "name version\n" repeated, ASCII, the last line feed may be missing. bad_input names the
// line; an empty record is an empty list; a name twice is refused.
Result<std::vector<ReadPiece>> parse_lines_record(ByteView record);
// A history record: one line an update, its first word the release; what follows is the box's own remark. Oldest first
// when it comes out, whichever way the box has it. bad_input names the line.
Result<std::vector<std::string>> parse_history_record(ByteView record, bool newest_first);

}  // namespace fettle::link
