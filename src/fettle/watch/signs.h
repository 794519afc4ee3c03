// What was seen of a run as one list in order of time: what the filter takes, second by second.
#pragma once

#include <string>
#include <vector>

#include "fettle/watch/event.h"
#include "fettle/watch/observed.h"

namespace fettle::watch {

struct Sign {
    enum class Kind { mark, text, tally, link };
    Kind kind = Kind::mark;
    double at_s = 0;        // since the start of the step
    Event event;            // of a mark
    std::string text;       // what the box shows
    TallyReading counts;    // what it counts
    bool machine = false;   // by link, current or stand-in rather than by a person
    bool answered = false;  // over the link

    bool operator==(const Sign&) const = default;
};

// Marks that were taken back are left out. A time before the start counts as the start; one that lies ahead stays as it
// is. Signs of the same time keep the order marks, texts, counts, and within each the order they were made in.
std::vector<Sign> signs_of(const std::vector<family::Act>& script, const Observed& seen);

}  // namespace fettle::watch
