// One content under way in an intake: shared by those who read it and those who compress its parts.
#pragma once

#include <string>
#include <vector>

#include "fettle/shelf/staging.h"

namespace fettle::shelf {

struct Staging::Whole {
    std::string sha256;          // known when it was read to its end; before its last part is handed over
    std::uint64_t size = 0;      // the same
    bool in_one = false;         // the same: it has one part or none
    bool there = false;          // is on the shelf, whole; nothing was written
    std::int64_t mends = 0;      // is on the shelf, but damaged: this content
    std::vector<NewPart> parts;  // by seq; guarded by the intake's guard
};

}  // namespace fettle::shelf
