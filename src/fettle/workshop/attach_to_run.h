// Looking on at a run that another watch stays with, and calling out when that one falls silent: the one thing that a
// silent watch cannot do.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "fettle/alarm/heart.h"
#include "fettle/alarm/ring.h"
#include "fettle/workshop/live_job.h"
#include "fettle/workshop/look_at_run.h"
#include "fettle/workshop/supply_record.h"

namespace fettle::workshop {

struct AttachRequest {
    std::string job;
    double patience_s = 10;  // without a beat: then it is silent
    alarm::Means means;
};

class AttachToRun {
public:
    // bad_input "no-run". The shop must outlive it.
    static Result<std::unique_ptr<AttachToRun>> begin(const Workshop& shop, const AttachRequest& request);
    AttachToRun(const AttachToRun&) = delete;
    AttachToRun& operator=(const AttachToRun&) = delete;

    struct Tick {
        bool over = false;               // the run has ended or was broken off
        std::optional<double> silent_s;  // the watch has not been heard for so long, and longer than patience; alarmed
        std::string words;               // of the alarm
        std::string trouble;             // the journal cannot be read; empty: it can
    };
    Tick tick();
    watch::Where where();  // for who draws it
    const watch::Follow& follow() const { return follow_.follow(); }
    const std::string& job() const { return run_.number; }

private:
    AttachToRun(const Workshop& shop, JobRun run, const AttachRequest& request);
    const book::Run& which() const { return live_.job().runs.at(number_ - 1); }

    const Workshop& shop_;
    JobRun run_;
    std::size_t number_;
    LiveJob live_;
    RunFollow follow_;
    SupplyTail supply_;
    alarm::Listener listener_;
    alarm::Ringer ringer_;
    double rang_s_ = -1e9;
};

struct TestCalled {
    std::string job, level;
    alarm::Rung rung;
};
// By every means once; takes a second.
Result<TestCalled> test_call(const Workshop& shop, const std::string& job, const alarm::Means& means);

}  // namespace fettle::workshop
