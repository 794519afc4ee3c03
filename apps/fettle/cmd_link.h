// fettle link find, link read, link faults; fettle stand-in.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/link/inventory.h"

namespace fettle::app {

struct LinkFindOptions {
    std::string at = "127.0.0.1:13400";  // --at HOST:PORT
    std::string record;                  // --record FILE
    std::optional<double> listen_s;  // --listen S: for announcements, at that address of this machine; sends nothing
};
// Asks who is there. Nobody answering is can't say, never "nobody is there".
Result<Answer> link_find(Context& context, const LinkFindOptions& options);

struct LinkReadOptions {
    std::vector<std::string> at;  // --at [BOX=]ADDRESS, more than once for a set on several transports
    std::string family;           // --family ID; empty: the job's, else the one whose plate a box gives
    std::string save;             // --save FILE: the pieces as a list that plan --as-found takes
    std::string when;             // --when before|after; empty: before while the job has no run
    std::string record;           // --record FILE
};
Result<Answer> link_read(Context& context, const LinkReadOptions& options);

struct LinkFaultsOptions {
    std::vector<std::string> at;
    std::string family;
    std::string when;      // --when before|after; empty: as the job stands
    bool details = false;  // --details: snapshots and extended data, too
    std::string in;        // --in bench|vehicle: where it is read; empty: where the job is done
    std::string record;    // --record FILE
};
Result<Answer> link_faults(Context& context, const LinkFaultsOptions& options);

struct StandInOptions {
    std::string card;    // --card IMAGE
    std::string family;  // --family ID; empty: the one whose release is named, when that is unique on the shelf
    std::string from;    // --from R: the release it starts at, on the shelf (index-only will do)
    std::string listen = "127.0.0.1:13400";     // --listen ADDR:PORT; port 0: any free one
    std::string announce;                       // --announce ADDR:PORT: where it tells of itself; empty: nowhere
    std::vector<std::string> also;              // --also BOX=ADDR:PORT: that box alone, on a transport of its own
    std::vector<std::string> stored;            // --stored BOX:CODE:STATUS: entries in its memory from the start
    bool rest = false;                          // --rest: no update is started, it only answers
    std::string clears = "each";                // --clears each|all|no
    std::string history;                        // --history R,R: releases that it came up with before
    double speed = 1;                           // --speed N: virtual seconds a second
    std::uint64_t seed = 1;                     // --seed N
    bool answer_asks = false;                   // --answer-asks: somebody stands by; else type the control and Enter
    bool on_bench = false;                      // --on-bench: entries of absent partners are stored
    double stay_s = 0;                          // --stay S: goes on answering so long after the run's end
    std::string market;                         // --market M; empty: the first that the release it starts at is for
    std::map<std::string, std::string> plates;  // role → plate; empty: the family's examples
    std::vector<std::string> can;               // --can ROLE=can://127.0.0.1:PORT/0x7a1:0x7a9: over CAN, too
};
// Runs in the foreground until the run has ended; tells on standard error where it listens and what is to be seen.
Result<Answer> stand_in(Context& context, const StandInOptions& options);

struct LinkClearOptions {
    std::string job, box;
    std::vector<std::string> at;
    std::string allowed_by;               // --allowed-by NAME
    std::vector<std::string> signed_for;  // --sign CODE: an entry that is not explained and goes with the others
};
// Asks one box of the job to clear the entries that are explained and not failing; docs/faults.md has the rule.
Result<Answer> link_clear(Context& context, const LinkClearOptions& options);

// For other commands: the same values as JSON.
boost::json::object inventory_as_json(const link::Inventory& inventory);
boost::json::object faults_as_json(const std::vector<link::BoxFaults>& faults);
// One reason per item that was not read; "read-over-link" when all were.
Judgement judge(const link::Inventory& inventory);
Judgement judge(const std::vector<link::BoxFaults>& faults);

}  // namespace fettle::app
