// What a person saw at the box, kept in the journal of the run.
#pragma once

#include <optional>
#include <string>

#include "fettle/workshop/look_at_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// One of event, shows, tally, lasted and undo.
struct MarkRequest {
    std::string job;
    std::string event;   // an act's id, dark, back, restarted, asks, answered, skipped, ended, broken-off
    std::string shows;   // what the box shows, word for word
    std::string tally;   // "landed=12,passed_over=26"
    bool undo = false;   // takes the last mark, text or tally back
    double ago_s = 0;    // it was seen so long ago
    std::string lasted;  // how long the run took, in seconds; or "as-marked", "not-known"
    std::string by;      // who says so
    std::string source = "tap";
    std::string with, area;  // how and where an ask was answered
};

enum class Sign { event, text, tally, lasted };
struct Marked {
    Sign sign = Sign::event;
    std::string words;  // the event or the text
    bool taken_back = false;
    std::optional<watch::TextMeaning> meaning;  // of a text
    RunLook look;                               // where the run is with it, by what the journal holds
};
// The end of a run is kept once, however many mark it at once. usage "mark-not-single", "mark-not-answered",
// "event-unknown", those of watch::parse_tally; bad_input "no-run", "run-ended", "handed-over", "ago-too-long",
// "nothing-to-undo", "tally-impossible"; those of workshop/run_end.h.
Result<Marked> mark_run(const Workshop& shop, const MarkRequest& request);

}  // namespace fettle::workshop
