// Staying with a run until it is over: its supply is taken along, hands are called for, the machine is kept awake, and
// there are beats for those who listen. A tick gives a value; who draws it, and how long to wait until the next, is
// for the caller to say. Everything it knows is in the journal and the recorded series: killed at any instant it may be
// begun again.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "fettle/alarm/awake.h"
#include "fettle/alarm/heart.h"
#include "fettle/alarm/ring.h"
#include "fettle/workshop/live_job.h"
#include "fettle/workshop/look_at_run.h"
#include "fettle/workshop/run_supply.h"

namespace fettle::workshop {

std::filesystem::path beats_folder(const Workshop& shop);

struct StayRequest {
    std::string job;
    std::string supply;  // where readings come from; empty: what another watch records
    std::string listen;  // ADDR:PORT: other testers on the bus; listens only. Empty: none
    alarm::Means means;
    watch::CallRule rule;
};

class StayWithRun {
public:
    // bad_input "no-run"; those of the two addresses. The shop must outlive it.
    static Result<std::unique_ptr<StayWithRun>> begin(const Workshop& shop, const StayRequest& request);
    StayWithRun(const StayWithRun&) = delete;
    StayWithRun& operator=(const StayWithRun&) = delete;

    struct Tick {
        watch::Where where;
        std::vector<Breach> breaches;       // since the last tick; in the journal, and called out
        std::optional<alarm::Call> call;    // made now
        std::vector<std::string> troubles;  // one sentence each, while they stand
        bool over = false;                  // the run has ended or was broken off
    };
    Tick tick();
    const watch::Follow& follow() const { return follow_->follow(); }

    // Puts everything away; where the run is at last.
    Result<RunLook> end();

private:
    StayWithRun(const Workshop& shop, JobRun run, const StayRequest& request);
    const book::Run& which() const { return live_.job().runs.at(number_ - 1); }
    bool over() const;
    void look();
    void keep_called(const alarm::Call& call, const alarm::Rung& rung);
    void keep(const NewEntry& entry);

    const Workshop& shop_;
    JobRun run_;
    std::size_t number_;  // of the run, from 1
    watch::CallRule rule_;
    LiveJob live_;
    std::unique_ptr<RunSupply> supply_;
    std::optional<RunFollow> follow_;
    alarm::StayAwake awake_;
    alarm::Heart heart_;
    alarm::Ringer ringer_;
    alarm::ClockJumps clocks_;
    alarm::CallsMade made_;
    bool moved_ = true;  // the journal, since follow_ saw it
    std::string not_read_, not_kept_;
};

}  // namespace fettle::workshop
