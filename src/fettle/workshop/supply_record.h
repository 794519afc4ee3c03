// The measured supply of a run: a file of readings that only grows, HOME/series/JOB-RUN-supply.csv, whose finished
// stretches are entries of the journal by their digest. A kill at any instant loses at most the reading under the pen.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/supply_sample.h"
#include "fettle/book/job.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct RecordedSupply {
    std::vector<SupplySample> samples;
    bool changed = false;  // a stretch that the journal knows by its digest is not what it was
};
// What was recorded of run `number` (1-based); nothing when nothing was. Lines that cannot be read are left out.
RecordedSupply recorded_supply(const Workshop& shop, const std::string& job, std::size_t number, const book::Run& run);

// The same as it grows: each call gives what was added since the last one, from the beginning at first.
class SupplyTail {
public:
    SupplyTail(const Workshop& shop, const std::string& job, std::size_t number, const book::Run& run);
    std::vector<SupplySample> more();

private:
    std::filesystem::path file_;
    UnixMs started_;
    std::uintmax_t read_ = 0;  // bytes, up to the end of a line
};

class SupplyRecorder {
public:
    // Takes the file for itself: nullptr-like (ok() false) when another watch records already.
    SupplyRecorder(const Workshop& shop, std::string job, std::size_t number, const book::Run& run);
    ~SupplyRecorder();
    SupplyRecorder(const SupplyRecorder&) = delete;
    SupplyRecorder& operator=(const SupplyRecorder&) = delete;

    bool ok() const { return fd_ >= 0; }
    Status add(const std::vector<SupplySample>& samples);
    // Ends the stretch, if there is one of some length (or at_once and any), and tells the journal.
    Status seal(bool at_once);

private:
    const Workshop& context_;
    std::string job_, file_;
    UnixMs started_ = 0;
    int fd_ = -1;
    std::uint64_t sealed_ = 0, size_ = 0;
};

}  // namespace fettle::workshop
