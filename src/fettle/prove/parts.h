// The parts of a proof that stand in files of their own. Internal to this room.
#pragma once

#include <string>
#include <vector>

#include "fettle/prove/prove.h"

namespace fettle::prove {

struct Finding {
    Reason reason;
    bool failed = false;  // what is installed is not what was planned
    std::string missing;  // what is wanted for proof because of it; empty: nothing
};

// Do the boxes go together, by the releases that they have now, not by those that they should have? `pieces` are the
// compared ones: a box all of whose pieces are as planned has the planned release.
std::vector<Finding> judge_pairs(const family::Family& family, const change::SetState& set_after, const Evidence& e,
                                 const std::vector<PieceProof>& pieces);

// Does each box's own record name exactly the planned path, in its order, and nothing else since?
std::vector<Finding> judge_history(const family::Family& family, const Evidence& e);

}  // namespace fettle::prove
