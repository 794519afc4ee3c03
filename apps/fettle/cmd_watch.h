// fettle watch J [--start …], fettle watch --all, fettle mark J EVENT.
#pragma once

#include <string>
#include <vector>

#include "context.h"
#include "fettle/watch/strip.h"
#include "fettle/workshop/mark_run.h"

namespace fettle::app {

struct WatchOptions {
    std::string job;
    bool start = false;                // --start: a run of the step begins now
    double ago_s = 0;                  // --ago S, with --start: it began so long ago
    int step = 0;                      // --step N; 0: the first that no run has ended
    std::string by;                    // --by NAME, with --start
    bool against_halt = false;         // --against-halt, with --start: begun although ready says no; recorded as such
    bool once = false;                 // --once: print once also on a terminal
    bool stay = false;                 // --stay: until the run has ended, also where no terminal is
    std::string supply;                // --supply: where readings come from, as link/supply_source.h says; recorded
    std::string listen;                // --listen ADDR:PORT: other testers on the bus; listens only
    bool attach = false;               // --attach: look on, and alarm when the watch falls silent
    double patience_s = 10;            // --patience S: of --attach
    bool test_call = false;            // --test-call: every means once
    std::vector<std::string> quiet;    // --quiet bell|notice|spoken: means that are not to be used
    std::string hook;                  // --hook CMD: a command of one's own for loud calls
    double lead_min = 3;               // --lead: call so long before hands are needed
    double certainty = 0.8;            // --certainty: from this chance on (with --all: that nothing clashes)
    bool all = false;                  // --all: every open run on one clock
    std::string next;                  // --next J: when to start this job
    std::vector<std::string> windows;  // --window "NAME=22-28+3": hands of a bench that is not watched here, in minutes
    double hands_min = 3;              // --hands: a person is taken up for so long
    std::string svg;                   // --svg FILE: the strip as SVG
    int width = 80;                    // --width N
    bool ascii = false;                // --ascii
};
// The run strip. On a terminal it is drawn again every second until the run has ended; else once.
Result<Answer> watch_run(Context& context, const WatchOptions& options);
Result<Answer> mark_run(Context& context, const workshop::MarkRequest& request);

// watch_live.cc: what stays and prints as it goes, until the run has ended or the watch that was attached to falls
// silent. stay_with_run: where the run is at last.
Result<workshop::RunLook> stay_with_run(const Context& context, const WatchOptions& options);
Result<Answer> attach_to_run(const Context& context, const WatchOptions& options);
Result<Answer> test_call(const Context& context, const WatchOptions& options);
watch::StripStyle style_of(const WatchOptions& options);

}  // namespace fettle::app
