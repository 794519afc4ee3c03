// What a mark says has happened at the box. The names are the command line's and the journal's; from here on an event
// is a type.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::watch {

struct Event {
    enum class Kind {
        unknown,
        act,           // an act of the script, by its id: this act begins
        dark,          // the screen goes dark
        back,          // it is lit again
        restarted,     // it restarted (dark not seen)
        asks,          // it asks for a hand
        answered,      // the ask was answered
        skipped,       // it went on without an answer
        ended,         // the box says it is done
        still,         // somebody looked: what the last sign said still stands
        fed,           // what had to be fed on a bench was fed
        link_answers,  // it was asked over the link where listening is allowed, and answered
        link_silent,   // … and did not
    };
    Kind kind = Kind::unknown;
    std::optional<std::size_t> act;  // of the script; also beside another kind, when an act bears that event's name

    bool operator==(const Event&) const = default;
};

Event event_of(const std::vector<family::Act>& script, std::string_view name);

bool is_event(const family::Family& family, std::string_view name);
std::vector<std::string> events(const family::Family& family);  // all names

}  // namespace fettle::watch
