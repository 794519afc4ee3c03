// The one place that reads SQLite's result codes (sqlite.org/rescode.html; sqlite3.h). Only the low byte counts: the
// rest of an extended code tells where inside SQLite it happened.
#include <sqlite3.h>

#include "fettle/records/database.h"

namespace fettle::records {

Trouble trouble_of(int sqlite_result) {
    switch (sqlite_result & 0xFF) {
        case SQLITE_BUSY:
        case SQLITE_LOCKED: return Trouble::busy;
        case SQLITE_CONSTRAINT: return Trouble::clash;
        case SQLITE_FULL: return Trouble::full;
        case SQLITE_CORRUPT:
        case SQLITE_NOTADB: return Trouble::damaged;
        case SQLITE_READONLY:
        case SQLITE_PERM: return Trouble::read_only;
        case SQLITE_CANTOPEN: return Trouble::cannot_open;
        default: return Trouble::other;
    }
}

std::string_view code(Trouble t) {
    switch (t) {
        case Trouble::busy: return "records-busy";
        case Trouble::clash: return "records-clash";
        case Trouble::full: return "records-full";
        case Trouble::damaged: return "records-damaged";
        case Trouble::read_only: return "records-read-only";
        case Trouble::cannot_open: return "records-cannot-open";
        case Trouble::other: break;
    }
    return "records-failed";
}

}  // namespace fettle::records
