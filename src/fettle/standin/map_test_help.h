// For tests: the power-cut map held against the stand-in. The two share the family file and the meaning of its words,
// and no code: what is seen must be in the map's set.
//
// Figures of boot rules, buffering and acts are the example families'; they are invented, so this holds two programs
// against each other and neither against a real unit.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <set>
#include <string>

#include "bench_test_help.h"
#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/forecast/forecast.h"

namespace fettle::standin::testing {

inline cutmap::Outcome outcome_of(Fate f) {
    using cutmap::Outcome;
    switch (f) {
        case Fate::nothing_changed: return Outcome::nothing_changed;
        case Fate::goes_on_by_itself: return Outcome::goes_on_by_itself;
        case Fate::same_card: return Outcome::same_card;
        case Fate::rests_unfinished: return Outcome::rests_unfinished;
        case Fate::starts_no_net: return Outcome::starts_no_net;
        case Fate::bench_repair: return Outcome::bench_repair;
        case Fate::lost: return Outcome::lost;
        case Fate::done: return Outcome::done;
        case Fate::never_ends: break;
    }
    return Outcome::lost;
}

// One step of an example family, or of one made from it: what is seen of it from the planner's side.
struct PlannedStep {
    std::shared_ptr<const family::Family> family;
    change::ChangeSheet sheet;
    cutmap::CutMap map;

    PlannedStep(Bench& b, std::shared_ptr<const family::Family> f, const std::string& from, const std::string& to,
                int cuts)
        : family(std::move(f)) {
        change::SetState set;
        for (const auto& [role, plate] : b.plates)
            set[role] = {from, plate.substr(7, 1), "NS", b.described(from).counter};
        sheet = change::change_sheet(*family, b.described(to), change::infer(b.described(from), set), set);
        map = cutmap::power_cut_map(*family, sheet, forecast::forecast(*family, sheet, {}, 1), cuts);
    }
};

// Is what was seen what the map says? A run that goes in circles is a finding of the map, not an outcome of its own.
inline bool told(const cutmap::CutMap& map, const cutmap::Outcomes& said, Fate fate) {
    if (fate != Fate::never_ends) return said.contains(outcome_of(fate));
    const auto& reasons = map.judgement.reasons;
    return std::any_of(reasons.begin(), reasons.end(), [](const Reason& r) {
        return r.code == "resume-never-ends" || r.code == "script-does-not-end";
    });
}

inline std::string list_of(const cutmap::Outcomes& o) {
    std::string out;
    for (const auto x : o) out += std::string(cutmap::words(x)) + "; ";
    return out;
}

// What was seen in each act, by fate; so that a test can ask whether it saw anything at all.
using Seen = std::map<std::string, std::set<Fate>>;

// Cuts a begun run at every `stride` seconds, once.
inline Seen hold_one_cut(const PlannedStep& step, VirtualSet s, double stride_s, int* instants = nullptr) {
    Seen seen;
    for (; s.running(); s.advance(stride_s)) {
        const Position p = s.position();
        const Fate fate = s.fate();
        seen[p.act].insert(fate);
        if (instants) ++*instants;
        const auto& moment = cutmap::at(step.map, p.act, p.cell);
        EXPECT_TRUE(told(step.map, moment.outcomes, fate))
            << step.family->id << ", second " << s.now_s() << ", act " << p.act << ", cell " << p.cell << ", "
            << p.fraction << ": the stand-in " << words(fate) << ", the map " << list_of(moment.outcomes);
        if (::testing::Test::HasFailure()) break;
    }
    return seen;
}

// Cuts it, lets it go on as it does by itself or with its card, and cuts it again, at every `second` seconds of that.
inline Seen hold_two_cuts(const PlannedStep& step, VirtualSet s, double first_s, double second_s,
                          int* instants = nullptr) {
    Seen seen;
    for (; s.running(); s.advance(first_s)) {
        const Position p = s.position();
        VirtualSet again = s;
        again.cut_power();
        again.advance(30);
        again.restore_power();
        while (again.boxes_now().front().mode == Mode::starting) again.advance_to_next(3600);
        const auto& moment = cutmap::at(step.map, p.act, p.cell);
        for (int n = 0; again.running() && n < 20000; again.advance(second_s), ++n) {
            const Fate fate = again.fate();
            seen[p.act].insert(fate);
            if (instants) ++*instants;
            EXPECT_TRUE(told(step.map, moment.two_cuts, fate))
                << step.family->id << ", first cut at second " << s.now_s() << " in " << p.act << ", cell " << p.cell
                << "; second in " << again.position().act << ", cell " << again.position().cell << ": the stand-in "
                << words(fate) << ", the map " << list_of(moment.two_cuts);
            if (::testing::Test::HasFailure()) return seen;
        }
    }
    return seen;
}

}  // namespace fettle::standin::testing
