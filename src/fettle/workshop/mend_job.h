// What to do after a job's last run broke, got stuck or failed: the facts that its journal has and what is said now,
// put to the mend room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/mend/mend.h"
#include "fettle/watch/tracker.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// What is said now counts before what was said earlier.
struct MendRequest {
    std::string job;
    std::optional<mend::Power> power;   // was it without power since the last sign?
    std::optional<mend::Now> now;       // what it does, fed
    std::optional<double> dark_for_s;   // with now dark: for so long
    std::string shows;                  // what stands on its screen now, word for word
    std::string release;                // that its version view shows now
    bool supply_holds = false;          // it is on a supply now that does not fail again
    std::optional<double> broke_ago_s;  // the first sign of trouble; absent: the mark, else now
    std::optional<MendKind> tried;      // an attempt that was made
    std::optional<Came> came;           // of it
    std::string by;
};

struct DarkEarly {  // it is dark, but a good run is dark for longer: nothing is told by that yet
    double for_s = 0, good_run_s = 0;
};
struct Mended {
    std::string job, level, release;
    mend::Answer answer;
    bool power_went = false;  // lost, or it restarted by itself: then something was cut
    std::optional<DarkEarly> dark_early;
    std::string shows;                          // the text that was said now
    std::optional<watch::TextMeaning> meaning;  // of that
    Judgement judgement;
};
// usage "mend-word" when words contradict each other; bad_input "no-run", "ago-too-long".
Result<Mended> mend_job(const Workshop& shop, const MendRequest& request);

// What was tried since a run to the last run's release broke: as told, and every run begun again to it that broke, too.
std::vector<Tried> tried_of(const book::Job& job);
// The last certain sign of the last run before `trouble`, in seconds since its start.
mend::Seen seen_of(const JobRun& run, UnixMs trouble);

}  // namespace fettle::workshop
