// The supply of a run that is watched: taken along from its source, recorded, and witnessed. What the source does
// (falls silent, writes nonsense, gives the same lines again) is said and ends nothing.
#pragma once

#include <memory>
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
    // from: as link/supply_source.h says; empty: nothing is taken, but what was recorded is there. listen: ADDR:PORT of
    // the bus, or empty. Errors: of the two addresses.
    static Result<std::unique_ptr<RunSupply>> open(Workshop& shop, const JobRun& run, const std::string& from,
                                                   const std::string& listen);

    // What came since the last call. Holds seen broken are in the journal when it returns.
    std::vector<ready::Breach> take();
    // Three calls in a row gave nothing new: a file was read to its end, or nothing answers.
    bool rests() const { return quiet_ >= 3; }
    void end();  // seals what was recorded

    const std::vector<SupplySample>& samples() const { return samples_; }
    // One sentence each, while they stand: no reading, not recorded, not kept in the journal.
    std::vector<std::string> troubles() const;

private:
    RunSupply(Workshop& shop, const JobRun& run);

    Workshop& context_;
    std::unique_ptr<SupplySource> source_;
    SupplyRecorder recorder_;
    RunWitness witness_;
    std::vector<SupplySample> samples_;
    std::vector<ready::Breach> found_again_;  // in the record of an earlier watch, not in the journal
    std::set<UnixMs> recorded_;               // by an earlier watch: their times
    UnixMs came_ = 0;                         // the last reading
    int quiet_ = 0;
    std::string source_says_, recording_says_, journal_says_;
};

}  // namespace fettle::workshop
