// Where a run of a job is: the one way from its journal to watch::Follow. Whatever looks at a run (watch, mark, mend,
// the sheet, the link's silence, a rehearsal) comes through here, so all of them agree on where it is and on whether it
// was broken off.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "fettle/watch/follow.h"
#include "fettle/workshop/job_run.h"

namespace fettle::workshop {

// Now, on the time axis of the run's start: what a clock that was set since then has gained or lost is taken off again.
UnixMs run_now(const Workshop& shop, const book::Job& job, const book::Run& run);
// Since it ended, whatever the clock was set to meanwhile; absent while it is open.
std::optional<double> since_end_s(const Workshop& shop, const book::Job& job, const book::Run& run);
// The clock was set between its start and its end (an open run: and now): how long it lasted is not known.
bool clock_doubted(const book::Run& run, const std::optional<book::ClockStep>& now = std::nullopt);
// What the machine's own clock says at this moment of the wall clock, against the journal's last entries.
std::optional<book::ClockStep> clock_step_now(const Workshop& shop, const book::Job& job);
// What the journal has noted of a run, without its supply.
watch::Observed observed(const book::Run& run, bool on_bench);
// What it is held against: what the journal kept at the start, before the plan of now. Where neither has it the script
// is known at most, and nothing is promised.
std::shared_ptr<const watch::Against> against(const JobRun& run, const book::Run& which);

class RunFollow {
public:
    // Begins with what `which` has; its supply comes by see().
    RunFollow(const JobRun& run, const book::Run& which, watch::CallRule rule = {});

    // The run as its journal has it now, and what was measured since the last call.
    void see(const book::Run& which, std::vector<SupplySample> measured = {});
    // With a reason for each hold that was seen broken.
    watch::Where tick(UnixMs now);

    const watch::Follow& follow() const { return follow_; }  // draws what tick() gave last

private:
    bool on_bench_;
    watch::Follow follow_;
    std::vector<Reason> holds_;
};

// A single look, without the supply: for acts that ask where a run is in passing.
watch::Where where_is(const JobRun& run, const book::Run& which, UnixMs now);

}  // namespace fettle::workshop
