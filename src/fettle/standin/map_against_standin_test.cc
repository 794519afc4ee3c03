// The power-cut map says what a cut at each moment leads to; the stand-in is cut there and shows what happens. The two
// share the family file and the meaning of its words, and no code: what is seen must be in the map's set.
//
// Figures of boot rules, buffering and acts are the example family's; they are invented, so this holds two programs
// against each other and neither against a real unit.
#include <gtest/gtest.h>

#include <algorithm>
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
        case Fate::never_ends: break;
    }
    return Outcome::lost;
}

change::ChangeSheet sheet_for(const family::Family& f, const std::string& from, const std::string& to) {
    change::SetState set;
    for (const auto& [role, plate] : plates) set[role] = {from, plate.substr(7, 1), "NS", described(from).counter};
    return change::change_sheet(f, described(to), change::infer(described(from), set), set);
}

// Is what was seen what the map says? A run that goes in circles is a finding of the map, not an outcome of its own.
bool told(const cutmap::CutMap& map, const cutmap::Moment& moment, Fate fate) {
    if (fate != Fate::never_ends) return moment.outcomes.contains(outcome_of(fate));
    const auto& reasons = map.judgement.reasons;
    return std::any_of(reasons.begin(), reasons.end(), [](const Reason& r) {
        return r.code == "resume-never-ends" || r.code == "script-does-not-end";
    });
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
    const auto sheet = sheet_for(*dunnock(), from, to);
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
        EXPECT_TRUE(told(map, moment, fate))
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

// --- families made up on the spot: the same two programs on other rules
// ------------------------------------------------

using Change = void (*)(family::Family&);

family::BootRule& rule(family::Family& f, std::size_t n) {
    return f.boot.at(n);
}
family::Region& region(family::Family& f, const std::string& box, const std::string& name) {
    for (auto& r : f.regions)
        if (r.box == box && r.name == name) return r;
    throw std::runtime_error(name);
}
void without_act(family::Family& f, const std::string& id) {
    std::erase_if(f.script, [&](const family::Act& a) { return a.id == id; });
}
void all_buffered(family::Family& f, std::optional<double> seconds) {
    for (auto& r : f.regions) r.buffered_s = seconds;
    for (auto& a : f.script) a.forced = false;
}

struct Variant {
    const char* name;
    Change change;
};
const Variant variants[] = {
    {"nothing buffered",
     [](family::Family& f) {
         for (auto& r : f.regions) r.buffered_s = 0;
     }},
    {"buffered for long and never forced", [](family::Family& f) { all_buffered(f, 40.0); }},
    {"start code and kernel buffered for a time nobody knows, not forced",
     [](family::Family& f) {
         for (const char* name : {"start", "kernel"}) region(f, "main", name).buffered_s.reset();
         for (auto& a : f.script)
             if (a.region == "start" || a.region == "kernel") a.forced = false;
     }},
    {"atomic cells",
     [](family::Family& f) {
         for (auto& r : f.regions) r.atomic = true;
     }},
    {"kernel written as one image", [](family::Family& f) { region(f, "main", "kernel").written_as = "image"; }},
    {"everything written as images",
     [](family::Family& f) {
         for (auto& r : f.regions) r.written_as = "image";
     }},
    {"goes on by itself",
     [](family::Family& f) {
         for (auto& b : f.boot)
             if (b.goes_on == "with the card") b.goes_on = "by itself";
     }},
    {"same act, rewritten",
     [](family::Family& f) {
         for (auto& b : f.boot) {
             b.from = "same act";
             b.whole_new_cells = "rewritten";
         }
     }},
    {"same act, kept",
     [](family::Family& f) {
         for (auto& b : f.boot) b.from = "same act";
     }},
    {"from the start, kept",
     [](family::Family& f) {
         for (auto& b : f.boot) b.from = "start";
     }},
    {"any releases start together",
     [](family::Family& f) {
         for (auto& b : f.boot) b.consistency = "any";
     }},
    {"no way in without the start code", [](family::Family& f) { f.bench.clear(); }},
    {"the way in needs the recovery region", [](family::Family& f) { f.bench.at(0).needs = {"recovery"}; }},
    {"no recovery by flag", [](family::Family& f) { f.boot.erase(f.boot.begin()); }},
    {"no recovery at all",
     [](family::Family& f) { std::erase_if(f.boot, [](const family::BootRule& b) { return b.mode == "recovery"; }); }},
    {"display starts from its active store only", [](family::Family& f) { f.boot.pop_back(); }},
    {"recovery region written last",
     [](family::Family& f) {
         const auto at =
             std::find_if(f.script.begin(), f.script.end(), [](const auto& a) { return a.id == "recovery"; });
         const family::Act act = *at;
         f.script.erase(at);
         f.script.insert(std::find_if(f.script.begin(), f.script.end(), [](const auto& a) { return a.id == "switch"; }),
                         act);
     }},
    {"no ask and no pending flag",
     [](family::Family& f) {
         without_act(f, "asks");
         without_act(f, "pending");
         without_act(f, "dark-1");
         without_act(f, "settled");
     }},
    {"display has one store",
     [](family::Family& f) {
         auto& r = region(f, "display", "system");
         r.stores = 1;
         r.selected_by.clear();
         without_act(f, "switch");
         for (auto& a : f.script) a.store.clear();
         f.boot.pop_back();
     }},
    {"display goes on by itself",
     [](family::Family& f) {
         rule(f, 3).goes_on = "by itself";
         rule(f, 3).from = "same cell";
     }},
};

class Variants : public ::testing::TestWithParam<std::size_t> {};

TEST_P(Variants, AreUnderstoodAlike) {
    const Variant& v = variants[GetParam()];
    auto f = std::make_shared<family::Family>(*dunnock());
    v.change(*f);
    const auto sheet = sheet_for(*f, "27.1.110", "27.3.118");
    const auto map = cutmap::power_cut_map(*f, sheet, forecast::forecast(*f, sheet, {}, 1), 1);
    for (std::uint64_t nature = 1; nature <= 2; ++nature) {
        StartState start = start_at(*f, described("27.1.110"), plates, "NS").value();
        start.answers_asks = true;
        auto s = VirtualSet::make(f, std::move(start), nature).value();
        s.insert_card(card_for("27.3.118"));
        ASSERT_TRUE(s.start_update());
        for (; s.running(); s.advance(3.7)) {
            const Position p = s.position();
            const Fate fate = s.fate();
            EXPECT_TRUE(told(map, cutmap::at(map, p.act, p.cell), fate))
                << v.name << ": act " << p.act << ", cell " << p.cell << ", " << p.fraction << ": the stand-in "
                << words(fate) << ", the map " << said(cutmap::at(map, p.act, p.cell).outcomes);
            if (HasFailure()) return;
        }
    }
}

INSTANTIATE_TEST_SUITE_P(MadeUp, Variants, ::testing::Range<std::size_t>(0, std::size(variants)));

}  // namespace
}  // namespace fettle::standin
