// Calling for hands: when, in what words, and how loud. A ladder: first the bell and a notice, then a spoken line and
// the shop's own command, again and again while it is overdue. Which rungs were climbed is in the journal, so a second
// terminal or a watch that was killed does not begin it again. Computes on values; ring.h makes the noise.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/tracker.h"

namespace fettle::alarm {

struct Call {
    std::string key;    // what it is about: "hands:asks", "stuck", "woken:sleep", "astray", "loop"
    int rung = 0;       // 0: for the first time
    bool loud = false;  // spoken, and the shop's own command, too
    std::string words;  // one sentence to say aloud
};

struct Called {
    int rung = 0;
    UnixMs at = 0;
};
using CallsMade = std::map<std::string, Called>;  // the last of each key

// Seconds between a rung and the next: 60, 120, then every 240 while nobody has answered.
double until_next_rung(int rung);

// The most urgent call that is due now; nullopt: none.
std::optional<Call> call_due(const watch::Where& where, const CallsMade& made, UnixMs now);

}  // namespace fettle::alarm
