// What boxes said of themselves over the link, held against what the job was identified with.
#pragma once

#include <string>
#include <vector>

#include "fettle/book/job.h"

namespace fettle::book {

struct Otherwise {            // one box says another market or release than the job has
    std::string box, item;    // item: "market", "release"
    std::string said, job;    // as the box gives it; as the job has it
    bool others_say = false;  // of a release: another box of the set gives the job's
};

// Nothing where either side is not known. Markets: by the latest reading. Releases: only until the first run begins,
// for the job's release is the one it was found with.
std::vector<Otherwise> said_otherwise(const Job& job);

// "the main gives market MD, the job says NS"
std::string words_of(const Otherwise& o);

}  // namespace fettle::book
