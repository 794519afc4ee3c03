// A virtual set on this machine, to practise with: it answers as its family's boxes would, and nothing real is written.
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/link/address.h"
#include "fettle/standin/box.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// Where a stand-in can be reached.
struct StandInDoors {
    std::string listens;                                              // "doip://127.0.0.1:13400"
    std::vector<std::pair<std::uint16_t, std::string>> boxes_on_can;  // number of a box, its address
    std::vector<std::pair<std::string, std::string>> also;            // role of a box, "doip://…" of its own
};

struct StandInRequest {
    std::string card;    // image
    std::string family;  // its id; empty: the one whose release is named, when that is unique on the shelf
    std::string from;    // the release it starts at, on the shelf (index-only will do)
    std::string listen = "127.0.0.1:13400";     // ADDR:PORT; port 0: any free one
    std::string announce;                       // ADDR:PORT where it tells of itself; empty: nowhere
    std::vector<std::string> also;              // BOX=ADDR:PORT: that box alone, on a transport of its own
    std::vector<std::string> stored;            // BOX:CODE:STATUS: entries in its memory from the start
    std::vector<std::string> can;               // ROLE=can://127.0.0.1:PORT/0x7a1:0x7a9: over CAN, too
    std::vector<std::string> history;           // releases that it came up with before
    std::map<std::string, std::string> plates;  // role → plate; without one the family's example
    std::string market;                         // empty: the first that the release it starts at is for
    standin::Clears clears = standin::Clears::each;
    bool rest = false;         // no update is started, it only answers
    bool answer_asks = false;  // somebody stands by; else `typed` has to answer
    bool on_bench = false;     // entries of absent partners are stored
    double speed = 1;          // virtual seconds a second
    double stay_s = 0;         // goes on answering so long after the run's end
    std::uint64_t seed = 1;

    std::function<void(const StandInDoors&)> opened{};  // told once, when it can be reached
    std::function<void(const standin::Event&)> seen{};  // what is to be seen at it, as it comes
    // What somebody at the bench did since: a control, a line to feed, "partners" or "power"; empty: nothing. Asked
    // some fifty times a second; must not wait.
    std::function<std::string()> typed{};
};

struct StoodIn {
    standin::VirtualSet set;  // as it was in the end
    double ended_s = 0;       // when its run ended, in virtual seconds
    bool rested = false;
    Judgement judgement;
};
// Until the run has ended, and stay_s more.
Result<StoodIn> stand_in(const Workshop& shop, const StandInRequest& request);

// The set, and which of its boxes is behind which CAN address: for stand_in().
struct Practice {
    standin::VirtualSet set;
    std::map<std::uint16_t, link::BoxAddress> on_can;
};
Result<Practice> practice_for(const Workshop& shop, const StandInRequest& request);

}  // namespace fettle::workshop
