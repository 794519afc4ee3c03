// fettle link find, link read, link faults; fettle stand-in.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/link/inventory.h"

namespace fettle::app {

struct LinkFindOptions {
    std::string at = "127.0.0.1:13400";  // --at HOST:PORT
    std::string record;                  // --record FILE
    double listen_s = 0;  // --listen S: for announcements, at that address of this machine; sends nothing
};
// Asks who is there. Nobody answering is can't say, never "nobody is there".
Result<Answer> link_find(Context& context, const LinkFindOptions& options);

struct LinkReadOptions {
    std::string at;               // --at doip://HOST:PORT (the whole set) or doip://HOST:PORT/0x1041 (one box)
    std::string family;           // --family ID; empty: the one whose plate the box gives
    std::string save;             // --save FILE: the pieces as a list that plan --as-found takes
    std::string when = "before";  // --when before|after: after writes the as-left entry with --job
    std::string record;           // --record FILE
};
Result<Answer> link_read(Context& context, const LinkReadOptions& options);

struct LinkFaultsOptions {
    std::string at;
    std::string family;
    std::string when = "before";  // --when before|after
    std::string record;           // --record FILE
};
Result<Answer> link_faults(Context& context, const LinkFaultsOptions& options);

struct StandInOptions {
    std::string card;    // --card IMAGE
    std::string family;  // --family ID; empty: the one whose release is named, when that is unique on the shelf
    std::string from;    // --from R: the release it starts at, on the shelf (index-only will do)
    std::string listen = "127.0.0.1:13400";     // --listen ADDR:PORT; port 0: any free one
    double speed = 1;                           // --speed N: virtual seconds a second
    std::uint64_t seed = 1;                     // --seed N
    bool answer_asks = false;                   // --answer-asks: somebody stands by; else type the control and Enter
    bool on_bench = false;                      // --on-bench: entries of absent partners are stored
    double stay_s = 0;                          // --stay S: goes on answering so long after the run's end
    std::string market;                         // --market M; empty: the first that the family knows
    std::map<std::string, std::string> plates;  // role → plate; empty: the family's examples
    std::vector<std::string> can;               // --can ROLE=can://127.0.0.1:PORT/0x7a1:0x7a9: over CAN, too
};
// Runs in the foreground until the run has ended; tells on standard error where it listens and what is to be seen.
Result<Answer> stand_in(Context& context, const StandInOptions& options);

// For other commands: the same values as JSON, and as the journal's entries of docs/journal.md.
boost::json::object inventory_as_json(const link::Inventory& inventory);
boost::json::object faults_as_json(const std::vector<link::BoxFaults>& faults);
NewEntry as_left_entry(const link::Inventory& inventory);
NewEntry faults_entry(const std::vector<link::BoxFaults>& faults, const std::string& when);
// One reason per item that was not read; "read-over-link" when all were.
Judgement judge(const link::Inventory& inventory);
Judgement judge(const std::vector<link::BoxFaults>& faults);

}  // namespace fettle::app
