// Was the clock set? Each entry keeps, beside its instant, how long the machine that wrote it had been running. Of two
// entries of one running machine the one difference must be the other; where it was started anew, or another machine
// wrote, only their order tells something.
#pragma once

#include <boost/json/fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/clock.h"

namespace fettle::book {

struct ClockKept {  // beside one entry
    UnixMs at = 0;
    std::string boot;  // which start of which machine; empty: not kept
    double up_s = 0;   // since that start, sleep included
};

struct ClockStep {
    double by_s = 0;    // forward or back
    bool exact = true;  // false: by the order of entries alone, and at least so much
};

// The step by which the clock was set between the entries before and `now`; nullopt: as far as can be seen it was not.
// `kept`: the last of each start of a machine; `last`: the instant of the entry before, 0 for none. A clock that is
// steered runs off by less than 5 s and 1 part in 1000; without a common start, an instant more than a minute before
// the last one shows it. From memory: a time daemon steers by 500 parts in a million at most; and clocks of two
// machines of one shop rarely differ by more than 40 s (a guess).
std::optional<ClockStep> clock_set_by(const std::vector<ClockKept>& kept, UnixMs last, const ClockKept& now);

// Puts `now` in the place of its start's last one.
void keep_clock(std::vector<ClockKept>& kept, ClockKept now);

// The member "clock" of an entry's data: {"boot": …, "up_s": …}. Anything else is not kept.
ClockKept clock_of(UnixMs at, const boost::json::object& data);

}  // namespace fettle::book
