// One run of the script from a position, power staying on, with every instant at which a cut could come.
#pragma once

#include <vector>

#include "fettle/cutmap/boot.h"
#include "fettle/cutmap/model.h"

namespace fettle::cutmap {

// Told of every moment of a run, and for each of every state that a cut at that moment may leave behind.
class Witness {
public:
    virtual ~Witness() = default;
    virtual void moment(int act, int cell) = 0;  // cell: -1 outside write acts
    virtual void left_behind(const std::vector<Word>& state) = 0;
};

struct Ending {
    bool finished = false;
    bool endless = false;             // came to the same restart twice in the same state
    Outcome outcome = Outcome::done;  // when not finished
};

// Runs `state` on from where `way` says until the end act, or until a planned restart from which the run does not come
// back. `state` is then the state at that point. `witness` may be null.
Ending run_on(const Model& m, std::vector<Word>& state, const Resume& way, const std::vector<Word>& found,
              Witness* witness);

// A cell that was reported written and may not be on the medium yet.
struct AtRisk {
    int region = 0, cell = 0;
    Cell before = Cell::old_release;
    double age_s = 0;  // at most: reported written at least so long ago
};

// Calls `witness` with every content that the cells at risk may have, each by itself; `state` holds them all as written
// and is left so. Up to four cells of a region: every combination. Beyond: one state per pattern that a boot rule or a
// later write can tell apart (docs/plan.md says why these are enough).
void every_loss(const Model& m, std::vector<Word>& state, const std::vector<AtRisk>& risks, Witness& witness);

}  // namespace fettle::cutmap
