// The fault memory of a job's boxes, read over the link or typed: kept, and held against before and the run.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/family/family.h"
#include "fettle/link/inventory.h"
#include "fettle/prove/faults.h"
#include "fettle/workshop/box_known.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/moment.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct MemoryRequest {
    std::vector<std::string> at;  // [BOX=]ADDRESS
    std::string job;              // what was read is kept there; may be empty
    std::string family;           // its id; empty: the job's, else the one whose plate a box gives
    std::optional<Moment> when;   // absent, or not before: as the job stands; usage "when-past"
    bool details = false;         // snapshots and extended data, too
    std::optional<Place> place;   // absent: where the job is done
    std::string record;           // file for the exchange; empty: as link_options
    LinkHow how{};
};
struct MemoryRead {
    family::Family family;
    std::vector<link::BoxFaults> boxes;
    Moment when = Moment::before;
    std::optional<Stranger> stranger;     // somebody else answers: nothing was kept but the recording
    std::optional<prove::Faults> faults;  // of a job, after its run: what explains each entry
    Judgement judgement;
    std::optional<Recording> recording;
    bool broken_off = false;  // by how.cancel: what follows was not asked
    int reconnected = 0;      // so often the connection was lost while reading, and made again
};
Result<MemoryRead> read_faults(const Workshop& shop, const MemoryRequest& request);

struct TypedFaults {
    std::string job;
    std::optional<Moment> when;  // absent, or not before: as the job stands
    // "B1A4F-13:28 …", or "none" when it was read and is empty; absent: it was not read, which never means none.
    std::optional<std::string> typed;
    std::optional<Place> place;  // absent: where the job is done
};
struct FaultsKept {
    Moment when = Moment::before;
    std::optional<std::vector<prove::Fault>> entries;  // absent: not read
    std::optional<prove::Faults> faults;               // after the run
    Judgement judgement;
};
// bad_input "box-unknown" for an entry of a box that the family does not have; errors of prove::parse_faults.
Result<FaultsKept> keep_typed_faults(const Workshop& shop, const TypedFaults& request);

Judgement judge(const std::vector<link::BoxFaults>& faults);
std::string counted(std::size_t entries);  // "no entry", "1 entry", "2 entries"

}  // namespace fettle::workshop
