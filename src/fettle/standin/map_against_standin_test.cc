// The power-cut map says what a cut at each moment leads to; the stand-in is cut there and shows what happens. The two
// share the family file and the meaning of its words, and no code: what is seen must be in the map's set.
//
// Figures of boot rules, buffering and acts are the example family's; they are invented, so this holds two programs
// against each other and neither against a real unit.
#include <gtest/gtest.h>

#include <map>
#include <set>

#include "bench_test_help.h"
#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/forecast/forecast.h"

namespace fettle::standin {
namespace {

using namespace testing;
using cutmap::Outcome;

Outcome outcome_of(Fate f) {
    switch (f) {
        case Fate::nothing_changed: return Outcome::nothing_changed;
        case Fate::goes_on_by_itself: return Outcome::goes_on_by_itself;
        case Fate::same_card: return Outcome::same_card;
        case Fate::rests_unfinished: return Outcome::rests_unfinished;
        case Fate::starts_no_net: return Outcome::starts_no_net;
        case Fate::bench_repair: return Outcome::bench_repair;
        case Fate::lost: return Outcome::lost;
        case Fate::done: return Outcome::done;
    }
    return Outcome::lost;
}

change::ChangeSheet sheet_for(const std::string& from, const std::string& to) {
    const auto& f = *dunnock();
    change::SetState set;
    for (const auto& [role, plate] : plates) set[role] = {from, plate.substr(7, 1), "NS", described(from).counter};
    return change::change_sheet(f, described(to), change::infer(described(from), set), set);
}

std::string said(const cutmap::Outcomes& o) {
    std::string out;
    for (const auto x : o) out += std::string(cutmap::words(x)) + "; ";
    return out;
}

struct Case {
    const char *from, *to;
    std::uint64_t nature;
};

class MapAgainstStandIn : public ::testing::TestWithParam<Case> {};

TEST_P(MapAgainstStandIn, EverySecondOfARun) {
    const auto [from, to, nature] = GetParam();
    const auto sheet = sheet_for(from, to);
    const auto map = cutmap::power_cut_map(*dunnock(), sheet, forecast::forecast(*dunnock(), sheet, {}, 1), 1);
    auto s = set_at(from, nature);
    s.insert_card(card_for(to));
    ASSERT_TRUE(s.start_update());
    int seconds = 0;
    std::map<std::string, std::set<Fate>> by_act;
    for (; s.running(); s.advance(1), ++seconds) {
        const Position p = s.position();
        const Fate fate = s.fate();
        by_act[p.act].insert(fate);
        const auto& moment = cutmap::at(map, p.act, p.cell);
        EXPECT_TRUE(moment.outcomes.contains(outcome_of(fate)))
            << "second " << seconds << ", act " << p.act << ", cell " << p.cell << ", " << p.fraction
            << ": the stand-in " << words(fate) << ", the map " << said(moment.outcomes);
        if (HasFailure()) break;
    }
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_GT(seconds, 300);
    // The comparison is not empty: the run passed through moments of these kinds.
    EXPECT_TRUE(by_act["reading"].contains(Fate::nothing_changed));
    EXPECT_TRUE(by_act["recovery"].contains(Fate::starts_no_net));
    EXPECT_TRUE(by_act["start-code"].contains(Fate::bench_repair));
    EXPECT_TRUE(by_act["system"].contains(Fate::same_card));
}

INSTANTIATE_TEST_SUITE_P(Runs, MapAgainstStandIn,
                         ::testing::Values(Case{"26.1.090", "26.4.102", 11}, Case{"26.4.102", "27.1.110", 12},
                                           Case{"27.1.110", "27.3.118", 13}, Case{"27.1.110", "27.3.118", 14},
                                           Case{"26.4.102", "27.3.118", 15}));

}  // namespace
}  // namespace fettle::standin
