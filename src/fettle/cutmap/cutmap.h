// The power-cut map: what a loss of power at each moment of a step would lead to. Explicit-state, exhaustive for up to
// k cuts; meaning of every word as in docs/plan.md. Computes on values; shares no code with the virtual box, which is
// held against it.
#pragma once

#include <cstdint>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/family/family.h"
#include "fettle/forecast/forecast.h"

namespace fettle::cutmap {

// From best to worst.
enum class Outcome {
    nothing_changed,  // all cells and flags as found
    goes_on_by_itself,
    same_card,         // the same card takes it up
    rests_unfinished,  // starts normally, net whole, but nothing goes on until a person starts it again
    starts_no_net,     // starts normally, but a rule of the family's net does not hold
    bench_repair,
    lost,
    done,  // the run had ended: everything new, nothing open (same rank as nothing_changed in badness)
};
std::string_view words(Outcome o);
std::string_view code(Outcome o);
bool no_way_back(Outcome o);  // bench_repair or lost
int badness(Outcome o);

// A set of outcomes: more than one when an unknown fact or a choice of the medium (buffered cells) decides.
using Outcomes = std::set<Outcome>;
Outcome worst(const Outcomes& o);  // of a non-empty set

// An instant class of the run. In a write act `cell` is the 0-based index of the cell under the head among the act's
// cells (cells = pieces to be written in index order, or the one image); between acts and in other acts cell is -1. A
// run position of another program maps to exactly one moment.
struct Moment {
    std::string act;
    int cell = -1;
    Outcomes outcomes;           // one cut here, power stays on from then
    Outcomes two_cuts;           // worst over placements of up to two cuts, the first here
    std::string story;           // shortest example of the worst outcome, told in one or two sentences
    std::size_t act_number = 0;  // in the script, from 0
    double from = 0, part = 1;   // where in the act's time it lies: beginning and length, of 1
};

// A maximal run of moments with the same worst outcome, on the time axis of the forecast.
struct Stretch {
    Outcomes outcomes;
    std::string first_act, last_act;
    double from_p50_s = 0, to_p50_s = 0;
    double from_p90_s = 0, to_p90_s = 0;
    double length_p50_s = 0, length_p90_s = 0;  // of the stretch itself, by draws
    std::string story;
};

struct CutMap {
    std::vector<Moment> moments;  // in script order
    std::vector<Stretch> stretches;
    double no_way_back_p50_s = 0, no_way_back_p90_s = 0;  // total length, by draws
    double no_net_p50_s = 0, no_net_p90_s = 0;
    std::uint64_t states = 0;  // kept apart: those that a further cut may follow
    std::uint64_t met = 0;     // judged in all, with those that the last cut leaves
    int cuts = 1;              // bound k
    int supplies = 1;          // each is cut by itself, and all at once
    bool boot_order_known = true;
    Judgement judgement;  // zones, never-ending loops, what is not modelled (a sag that corrupts), unknown boot order
};

// k >= 1; the first cut anywhere in the run as planned, later ones anywhere in the continued run. With an empty boot
// order every write counts as if it had no way back, and the judgement says can't say.
CutMap power_cut_map(const family::Family& family, const change::ChangeSheet& sheet, const forecast::Forecast& forecast,
                     int k = 1);

// The outcomes for a position; an act or cell that is not on the map is a caller's bug (std::out_of_range).
const Moment& at(const CutMap& map, std::string_view act, int cell);

}  // namespace fettle::cutmap
