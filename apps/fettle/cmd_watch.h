// fettle watch J [--start …], fettle mark J EVENT.
#pragma once

#include <string>
#include <vector>

#include "context.h"
#include "fettle/base/supply_sample.h"
#include "fettle/watch/strip.h"
#include "fettle/workshop/job_run.h"

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
// The run strip. On a terminal it is drawn anew every second until the run has ended; else once.
Result<Answer> watch_run(Context& context, const WatchOptions& options);

// What watch, mark and the wall share: a run at one instant.
struct Drawn {
    watch::Where where;
    std::vector<std::string> lines;
};
struct Look {
    std::vector<SupplySample> supply;  // as recorded
    watch::CallRule rule;
};
Drawn draw_run(const JobRun& run, const book::Run& which, UnixMs now, const watch::StripStyle& style, const Look& look);
boost::json::object where_as_json(const watch::Where& w, const book::Run& run);
tl::unexpected<Error> no_run(const std::string& job);  // bad_input "no-run"

// watch_live.cc: until the run has ended, or until a watch that was attached to falls silent. True: it alarmed.
Result<bool> follow_run(Context& context, JobRun& run, const WatchOptions& options);
Result<Answer> attach_run(Context& context, JobRun& run, const WatchOptions& options);
Result<Answer> test_call(Context& context, const JobRun& run, const WatchOptions& options);
// watch_wall.cc
std::string time_of_day(UnixMs t);  // "20:47", local
Result<Answer> watch_wall(Context& context, const WatchOptions& options);

struct MarkOptions {
    std::string job;
    std::string event;  // an act's id, dark, back, restarted, asks, answered, skipped, ended, broken-off
    std::string shows;  // --shows TEXT: what the box shows, word for word
    std::string tally;  // --tally landed=12,passed_over=26
    bool undo = false;  // --undo: takes the last mark, text or tally back
    double ago_s = 0;   // --ago S: it was seen so long ago
    std::string source = "tap";
    std::string with, area;  // --with turn|press|touch|key|card, --area TEXT: how and where an ask was answered
};
// One of event, shows, tally and undo.
Result<Answer> mark_run(Context& context, const MarkOptions& options);

}  // namespace fettle::app
