// fettle watch J [--start …], fettle mark J EVENT.
#pragma once

#include <string>

#include "context.h"
#include "job_run.h"

namespace fettle::app {

struct WatchOptions {
    std::string job;
    bool start = false;         // --start: a run of the step begins now
    int step = 0;               // --step N; 0: the first that no run has ended
    std::string by;             // --by NAME, with --start
    bool against_halt = false;  // --against-halt, with --start: begun although ready says no; recorded as such
    bool once = false;          // --once: print once also on a terminal
    std::string svg;            // --svg FILE: the strip as SVG
    int width = 80;             // --width N
    bool ascii = false;         // --ascii
};
// The run strip. On a terminal it is drawn anew every second until the run has ended; else once.
Result<Answer> watch_run(Context& context, const WatchOptions& options);

struct MarkOptions {
    std::string job;
    std::string event;  // an act's id, dark, back, restarted, asks, answered, skipped, ended, broken-off
    std::string shows;  // --shows TEXT: what the box shows, word for word
    std::string tally;  // --tally landed=12,passed_over=26
    bool undo = false;  // --undo: takes the last mark, text or tally back
    std::string source = "tap";
};
// One of event, shows, tally and undo.
Result<Answer> mark_run(Context& context, const MarkOptions& options);

}  // namespace fettle::app
