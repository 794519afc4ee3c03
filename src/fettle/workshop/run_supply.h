// The supply of a run that is watched: taken along from its source, recorded, and witnessed. What the source does
// (falls silent, writes nonsense, gives the same lines again) is said and ends nothing.
#pragma once

#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/workshop/job_run.h"
#include "fettle/workshop/run_witness.h"
#include "fettle/workshop/supply_record.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

class RunSupply {
public:
    // from: as link/supply_source.h says; empty: nothing is measured, but what is recorded is there. listen: ADDR:PORT
    // of the bus, or empty. Errors: of the two addresses.
    static Result<std::unique_ptr<RunSupply>> open(const Workshop& shop, const JobRun& run, const std::string& from,
                                                   const std::string& listen);

    struct Taken {
        std::vector<SupplySample> samples;  // at first with all that was recorded before
        std::vector<Breach> breaches;       // holds seen broken; they are in the journal already
    };
    // What came since the last call: from the source, or without one what another watch has recorded.
    Taken take();
    // Three calls in a row gave nothing new: a file was read to its end, or nothing answers.
    bool rests() const { return quiet_ >= 3; }
    void end();  // seals what was recorded

    // One sentence each, while they stand: no reading, not recorded, not kept in the journal.
    std::vector<std::string> troubles() const;

private:
    RunSupply(const Workshop& shop, const JobRun& run);

    const Workshop& context_;
    std::unique_ptr<SupplySource> source_;
    std::optional<SupplyRecorder> recorder_;  // only with a source: else another watch may record
    RunWitness witness_;
    SupplyTail tail_;
    Taken waiting_;              // of an earlier watch: its readings, and the breaches in them that the journal has not
    std::set<UnixMs> recorded_;  // by an earlier watch: their times
    UnixMs came_ = 0;            // the last reading
    int quiet_ = 0;
    std::string source_says_, recording_says_, journal_says_;
};

}  // namespace fettle::workshop
