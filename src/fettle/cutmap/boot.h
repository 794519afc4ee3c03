// What a set does when power returns: boot rules in order, then how the run goes on.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "fettle/cutmap/cutmap.h"
#include "fettle/cutmap/model.h"

namespace fettle::cutmap {

// A set of outcomes as bits: 1 << Outcome.
using OutcomeBits = std::uint16_t;
inline OutcomeBits bit_of(Outcome o) {
    return static_cast<OutcomeBits>(1u << static_cast<unsigned>(o));
}
Outcomes outcomes_of(OutcomeBits bits);
Outcome worst_of(OutcomeBits bits);  // of at least one bit

// The cells that a rule needs are whole and of releases that its consistency allows. `when` is not looked at.
bool cells_hold(const Model& m, const State& s, const ModelRule& rule);
// The first rule of the box that holds, `when` included; -1: none.
int boots(const Model& m, const State& s, int box);
// Every rule of the box's net holds (a box without net rules has nothing to lose).
bool net_whole(const Model& m, const State& s, int box);
// No way to start is left: bench repair if the family names a way in that needs none of the torn cells, else lost.
Outcome no_start(const Model& m, const State& s, int box);
// Nothing of the box was written, or all of it: what a box of unknown boot order is taken to survive.
bool untouched_or_done(const Model& m, const State& s, const std::vector<Word>& found, int box);
// All cells that the step writes are new (in the store that the run wrote), and all flags have their last values.
bool all_new(const Model& m, const State& s);

// How the run goes on after a restart, planned or not.
struct Resume {
    bool goes = false;
    Outcome how = Outcome::same_card;  // goes_on_by_itself or same_card
    int act = 0, cell = 0;             // where
    bool from_start = false;
    bool rewrite = true;  // cells already whole and new are written again
};

struct PowerOn {
    std::vector<int> rules;                    // per box, -1: none
    bool unbroken = false;                     // no box that the run needs lost its power: it goes on meanwhile
    bool unknown = false;                      // a box whose boot order is not known was touched
    Outcome rest = Outcome::rests_unfinished;  // what it is if nothing goes on
    std::vector<Resume> ways;                  // more than one when the family file says "unknown"; empty: rests
};

// Evaluates the boot rules of every box. `found` is the state as found, for "nothing changed". The second form fills an
// answer that was used before, and takes no memory for it.
PowerOn power_on(const Model& m, const State& s, const std::vector<Word>& found);
void power_on(const Model& m, const State& s, const std::vector<Word>& found, PowerOn& out);

// Why a box cannot start, for stories: "start code torn", "kernel and main system of two releases".
std::string why_not(const Model& m, const State& s, const ModelRule& rule);

}  // namespace fettle::cutmap
