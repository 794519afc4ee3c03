// The power-cut map says what a cut at each moment leads to; the stand-in is cut there and shows what happens. In
// coarse steps, and on families made up on the spot; slow/every_instant_test.cc goes through every second, and through
// two cuts.
#include <gtest/gtest.h>

#include "map_test_help.h"

namespace fettle::standin {
namespace {

using namespace testing;

// Every family's run, and that the comparison is not empty: the run passed through moments of these kinds.
TEST(MapAgainstStandIn, RecoveryWrittenFirst) {
    auto& b = bench("dunnock");
    const PlannedStep step(b, b.family, "27.1.110", "27.3.118", 1);
    int instants = 0;
    auto seen = hold_one_cut(step, b.started("27.1.110", "27.3.118", 13), 6.7, &instants);
    EXPECT_GT(instants, 80);
    EXPECT_TRUE(seen["reading"].contains(Fate::nothing_changed));
    EXPECT_TRUE(seen["recovery"].contains(Fate::starts_no_net));
    EXPECT_TRUE(seen["start-code"].contains(Fate::bench_repair));
    EXPECT_TRUE(seen["system"].contains(Fate::same_card));
}

TEST(MapAgainstStandIn, OneStoreRecoveryWrittenLast) {
    auto& b = bench("brill");
    const PlannedStep step(b, b.family, "26.4.088", "27.2.031", 1);
    int instants = 0;
    auto seen = hold_one_cut(step, b.started("26.4.088", "27.2.031", 21), 5.3, &instants);
    EXPECT_GT(instants, 80);
    EXPECT_TRUE(seen["loading"].contains(Fate::nothing_changed));
    EXPECT_TRUE(seen["system"].contains(Fate::same_card));
    EXPECT_TRUE(seen["start-code"].contains(Fate::bench_repair));
    EXPECT_TRUE(seen["dark-1"].contains(Fate::goes_on_by_itself));
    EXPECT_TRUE(seen["recovery"].contains(Fate::starts_no_net));
    EXPECT_TRUE(seen["asks"].contains(Fate::rests_unfinished));
}

TEST(MapAgainstStandIn, TwoStores) {
    auto& b = bench("pelm");
    const PlannedStep step(b, b.family, "27.1.052", "27.2.064", 1);
    int instants = 0;
    auto seen = hold_one_cut(step, b.started("27.1.052", "27.2.064", 31), 5.9, &instants);
    EXPECT_GT(instants, 80);
    EXPECT_TRUE(seen["copying"].contains(Fate::nothing_changed));
    EXPECT_TRUE(seen["system"].contains(Fate::goes_on_by_itself));
    EXPECT_TRUE(seen["dark-1"].contains(Fate::goes_on_by_itself));
    EXPECT_EQ(step.map.no_way_back_p90_s, 0);  // what two stores are for
}

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
    SCOPED_TRACE(v.name);
    auto& b = bench("dunnock");
    auto f = std::make_shared<family::Family>(*b.family);
    v.change(*f);
    const PlannedStep step(b, f, "27.1.110", "27.3.118", 1);
    for (std::uint64_t nature = 1; nature <= 2; ++nature) {
        StartState start = start_at(*f, b.described("27.1.110"), b.plates, "NS").value();
        start.answers_asks = true;
        auto s = VirtualSet::make(f, std::move(start), nature).value();
        s.insert_card(b.card_for("27.3.118"));
        ASSERT_TRUE(s.start_update());
        hold_one_cut(step, std::move(s), 3.7);
        if (HasFailure()) return;
    }
}

INSTANTIATE_TEST_SUITE_P(MadeUp, Variants, ::testing::Range<std::size_t>(0, std::size(variants)));

}  // namespace
}  // namespace fettle::standin
