// The script run on from a position, power staying on, with every instant at which a cut could come.
#pragma once

#include <vector>

#include "fettle/cutmap/boot.h"
#include "fettle/cutmap/model.h"

namespace fettle::cutmap {

// A cell that was reported written and may not be on the medium yet.
struct AtRisk {
    int region = 0, cell = 0;
    Cell before = Cell::old_release;
    double age_s = 0;  // at most: reported written at least so long ago
    bool operator==(const AtRisk&) const = default;
};

// Told of every moment of a run, and for each of every state that a cut at that moment may leave behind.
class Witness {
public:
    virtual ~Witness() = default;
    virtual void moment(int act, int cell) = 0;  // cell: -1 outside write acts
    virtual void left_behind(const std::vector<Word>& state) = 0;

    // Asked before the states of an instant are gone through; false: they need not be. `head`: the cell being written,
    // of all cells of the model, or -1.
    virtual bool look(const State&, const std::vector<AtRisk>&, int /*head*/, Cell /*before*/) { return true; }
    // What the instants to come are built from: a run begins; a cell's content, until now the one given, is not certain
    // any more; it is certainly new.
    virtual void begins(const State&, const std::vector<AtRisk>&) {}
    virtual void opens(int /*cell*/, Cell /*content*/) {}
    virtual void settles(int /*cell*/) {}
};

// What follows from one way of going on, power staying on: at a planned restart that brings up another mode than the
// script expects, every way that the boot rules leave is followed.
struct Followed {
    OutcomeBits bits = 0;
    bool finished = true;  // whichever way it goes, it comes to the end act
    bool endless = false;  // it can come round to the same restart for ever
};

// From `state` by `way`. `witness` may be null. `end`, when given, becomes the state in which a run that does not
// finish stops first; one that finishes leaves it alone.
Followed follow(const Model& m, const std::vector<Word>& state, const Resume& way, const std::vector<Word>& found,
                Witness* witness, std::vector<Word>* end = nullptr);

inline constexpr std::ptrdiff_t all_combinations_up_to = 4;

// Calls `witness` with every content that the cells at risk may have, each by itself; `state` holds them all as written
// and is left so. Up to four cells of a region: every combination. Beyond: one state per pattern that a boot rule or a
// later write can tell apart (docs/plan.md says why these are enough).
void every_loss(const Model& m, std::vector<Word>& state, const std::vector<AtRisk>& risks, Witness& witness);

}  // namespace fettle::cutmap
