// Marks against the script: which act has been reached, and whether the marks contradict it. Marks are read in order of
// time. A sign that was missed (nobody tapped) is no contradiction; one that the script cannot give is.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/tracker.h"

namespace fettle::watch {

// "Act `act` began at `at_s`" (seconds since the start of the step), by a mark or by a text that only this act shows.
struct Anchor {
    std::size_t act = 0;
    double at_s = 0;
    std::string source;
};

struct Alignment {
    std::vector<Anchor> anchors;  // in order of time; acts never fall
    bool astray = false;
    std::string why;  // of astray, one clause
    bool ended = false;  // somebody said so, or it did
    double ended_s = 0;
    // An ask that nobody answered, of a script in which it stops then, and nothing was seen of it going on since.
    std::optional<std::size_t> stopped;
    double stopped_s = 0;
    int restarts_seen = 0;
    int doubles = 0;                      // marks that said again what was known
    int odd_times = 0;                    // marks before the start or after now
    std::vector<std::string> odd_events;  // that are none
};

// earliest_s(from, to): no good run gets from the beginning of act `from` to that of act `to` faster; a generic event
// that would is a restart the script does not have.
using Earliest = std::function<double(std::size_t from, std::size_t to)>;

// Unanswered it stops, as the script has it.
bool stops_unanswered(const family::Act& ask);

// script: never empty.
Alignment align(const std::vector<family::Act>& script, const Observed& seen, UnixMs now, const Earliest& earliest_s);

}  // namespace fettle::watch
