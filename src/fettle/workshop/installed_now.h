// What is installed in a job's boxes now: as found, or as its runs have left it.
#pragma once

#include <optional>
#include <string>

#include "fettle/base/verdict.h"
#include "fettle/workshop/job_run.h"

namespace fettle::workshop {

struct InstalledNow {
    change::SetState set;
    std::optional<change::InstalledList> list;  // typed or read since the last run; absent: to be inferred
    Judgement judgement;                        // what speaks against going on from it
};

// nullopt: no run of it is over, so what was found stands. Of a run that broke off, and of boxes that show another
// release than the run should have left, it says so (can't say).
std::optional<InstalledNow> installed_now(const JobRun& run);

}  // namespace fettle::workshop
