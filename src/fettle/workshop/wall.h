// The wall: every open run of the book on one clock, and when to start the next job so that nobody waits.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/watch/wall.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct WallRequest {
    double lead_s = 180;                         // call so long before hands are needed
    double hands_s = 180;                        // a person is taken up for so long
    double certainty = 0.8;                      // that nobody waits
    std::vector<watch::HandsAsk> windows;        // of benches that are not watched here
    std::string next;                            // a job that is to be started; empty: none
    std::optional<watch::HandsAsk> next_window;  // the same, as one window from its start
};

struct Wall {
    struct Next {
        std::string name;
        double certainty = 0;
        std::optional<double> after_s;  // absent: within four hours there is no such start
        double no_wait = 0;             // the chance of that start
    };

    UnixMs at = 0;
    std::vector<watch::WallRow> rows;   // open runs in the order of the book, then the windows
    std::vector<watch::HandsAsk> asks;  // of all of them
    std::vector<watch::Clash> clashes;  // among those
    std::optional<Next> next;
    Judgement judgement;
};
// A job that cannot be read is said ("job-not-shown") and hides none of the others. usage "certainty-range"; those of
// the next job.
Result<Wall> wall_of(const Workshop& shop, const WallRequest& request);

// When the acts of a step that need hands begin; begun_s: when the step does, by draws; empty: at 0.
std::vector<watch::HandsAsk> asks_of(const JobRun& run, const plan::PlanStep& step, std::vector<double> begun_s,
                                     double hands_s);

}  // namespace fettle::workshop
