// Where the acts of a job are done: the shop's folder, its clock, and somebody to tell of progress. An act is a
// function of this room: it takes the workshop and a request, appends its own entries to the job's journal, and returns
// a value; it never prints, asks or knows who called it.
#pragma once

#include <boost/json/object.hpp>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>

#include "fettle/base/clock.h"
#include "fettle/base/result.h"

namespace fettle::workshop {

struct Uptime {        // of the machine that writes into the journal
    std::string boot;  // which start of which machine
    double up_s = 0;   // since that start, sleep included
};

struct Workshop {
    std::filesystem::path home;      // may not exist yet: make what you need, when you need it
    std::filesystem::path examples;  // family files that came with the program; empty: none
    const Clock* clock = nullptr;    // never null while an act runs
    // Kept beside the instant of each entry, so that a clock that is set is noticed; empty: not known (a clock that is
    // not this machine's).
    std::function<std::optional<Uptime>()> uptime;
    // Of long work: done and total in bytes (total 0: not known). Called as often as the act likes; may be empty.
    std::function<void(const char* what, std::uint64_t done, std::uint64_t total)> progress;

    std::filesystem::path families_folder() const { return home / "families"; }
    std::filesystem::path shelf_folder() const { return home / "shelf"; }
    std::filesystem::path book_file() const { return home / "book.sqlite"; }
    std::filesystem::path keys_folder() const { return home / "keys"; }
};

// One fact or decision for a job's journal: type as in docs/journal.md, data as one JSON object.
struct NewEntry {
    std::string type;
    boost::json::object data;
};

}  // namespace fettle::workshop
