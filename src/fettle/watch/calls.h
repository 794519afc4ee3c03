// Calling for hands: when, in what words, and how loud. A ladder: first the bell and a notice, then a spoken line and
// the shop's own command, again and again while it is overdue. Which rungs were climbed is in the journal, so a second
// terminal or a watch that was killed does not begin anew. Computes on values; ringing is the program's business.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/tracker.h"

namespace fettle::watch {

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
std::optional<Call> call_due(const Where& where, const CallsMade& made, UnixMs now);

// Somebody who attaches hears nothing from the watch: alarmed after so long without a new beat, by the listener's own
// clock. Beats carry a count, not a time, so clocks that differ do no harm.
class Listener {
public:
    explicit Listener(double patience_s = 10) : patience_s_(patience_s) {}
    // beat: the count last read; nullopt: it cannot be read. now_s: any clock that never runs backwards. True: alarm.
    bool hear(std::optional<long> beat, double now_s);
    double silent_s(double now_s) const { return last_ ? now_s - heard_s_ : now_s - since_s_; }

private:
    double patience_s_;
    std::optional<long> last_;
    double heard_s_ = 0, since_s_ = 0;
    bool begun_ = false;
};

// A machine that slept, or whose clock was set: the clock of the day and one that only counts part.
class ClockJumps {
public:
    ClockJumps(UnixMs wall, double steady_s) : wall_(wall), steady_s_(steady_s) {}
    // Seconds by which the clock of the day ran ahead of the other since the last call (back: negative); 0 up to five.
    double jumped(UnixMs wall, double steady_s);

private:
    UnixMs wall_;
    double steady_s_;
};

}  // namespace fettle::watch
