// Boxes like the pelm: they write a spare store and switch over, must be woken in mid-run on a bench, and leave a fault
// entry when their ask is skipped.
#include <gtest/gtest.h>

#include "bench_test_help.h"

namespace fettle::standin {
namespace {

using namespace testing;

Bench& pelm() {
    return bench("pelm");
}

VirtualSet on_the_bench() {
    return pelm().started("27.1.052", "27.2.064", 1, [](StartState& st) { st.must_be_woken = true; });
}

const Bytes tester_present{0x3E, 0x00};

TEST(TwoStores, OnABenchItSleepsUntilTheIgnitionLineIsFed) {
    auto s = on_the_bench();
    EXPECT_TRUE(s.sleeps_for().empty());
    EXPECT_FALSE(s.feed("ignition"));  // too early: nothing sleeps
    ASSERT_TRUE(run_to(s, "asleep"));
    const double since = s.now_s();
    for (int i = 0; i < 240; ++i) {
        const auto events = s.advance(1);
        for (const auto& e : events) EXPECT_EQ(e.kind, EventKind::sleeps) << words(e.kind);
        EXPECT_LT(s.current_A(), 0.15);
        EXPECT_EQ(s.screen(), "");
        EXPECT_FALSE(s.uds(0x1081, tester_present));
    }
    EXPECT_EQ(s.position().act, "asleep");
    EXPECT_EQ(s.sleeps_for(), "ignition");
    EXPECT_FALSE(s.feed("knob"));
    EXPECT_FALSE(s.feed(""));
    s.advance(4 * 3600);  // however long
    EXPECT_EQ(s.position().act, "asleep");
    EXPECT_TRUE(s.feed("ignition"));
    EXPECT_FALSE(s.feed("ignition"));
    const auto events = run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_LT(events.back().at_s - since - 4 * 3600 - 240, 600);
    EXPECT_EQ(s.release("main"), "27.2.064");
}

TEST(TwoStores, InAVehicleItWakesByItself) {
    auto s = pelm().started("27.1.052", "27.2.064");
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
}

TEST(TwoStores, ACutAsleepLeadsBackIntoTheSleep) {
    auto s = on_the_bench();
    ASSERT_TRUE(run_to(s, "asleep"));
    s.advance(300);
    s.cut_power();
    EXPECT_TRUE(s.sleeps_for().empty());
    EXPECT_FALSE(s.feed("ignition"));
    s.restore_power();
    s.advance(600);
    EXPECT_EQ(s.release("main"), "27.2.064");  // the new store is the active one
    EXPECT_EQ(s.sleeps_for(), "ignition");     // and it has taken up where it was: asleep
    ASSERT_TRUE(s.feed("ignition"));
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
}

TEST(TwoStores, UntilTheSwitchItRunsFromTheStoreThatNothingWrites) {
    auto s = pelm().started("27.1.052", "27.2.064");
    ASSERT_TRUE(run_to(s, "system"));
    s.advance(60);
    s.cut_power();
    EXPECT_EQ(s.fate(), Fate::goes_on_by_itself);
    s.remove_card();  // it has copied the stick, and does not miss it
    s.restore_power();
    s.advance(100);
    EXPECT_EQ(s.release("main"), "27.1.052");
    EXPECT_EQ(s.boxes_now()[0].mode, Mode::normal);
    EXPECT_EQ(s.boxes_now()[0].doing, Doing::running);
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(s.release("main"), "27.2.064");
}

TEST(TwoStores, EachRunWritesTheOtherStore) {
    auto s = pelm().started("26.3.017", "27.1.052");
    run_out(s);
    ASSERT_EQ(s.ending(), Ending::complete);
    s.insert_card(pelm().card_for("27.2.064"));
    ASSERT_TRUE(s.start_update());
    run_out(s);
    ASSERT_EQ(s.ending(), Ending::complete);
    // Against the index itself: what applies to issue D is in, with the release's versions.
    const auto list = s.installed("main");
    std::size_t applying = 0;
    for (const auto& p : pelm().described("27.2.064").pieces) {
        if (!p.issues.empty()) continue;
        ++applying;
        const auto it = std::find_if(list.begin(), list.end(), [&](const PieceState& x) { return x.name == p.name; });
        ASSERT_NE(it, list.end()) << p.name;
        EXPECT_EQ(it->version, p.version) << p.name;
        EXPECT_EQ(it->sha256, p.files[0].digests.at("sha256")) << p.name;
    }
    EXPECT_EQ(list.size(), applying);
}

TEST(TwoStores, ASkippedAskGoesOnAndLeavesAnEntry) {
    auto s = pelm().started("27.1.052", "27.2.064", 1, [](StartState& st) { st.answers_asks = false; });
    EXPECT_TRUE(s.faults("main").empty());
    const auto events = run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(s.faults("main"), (std::vector<FaultEntry>{{"B1D22-13", 0x28}}));
    EXPECT_TRUE(std::any_of(events.begin(), events.end(), [](const Event& e) {
        return e.kind == EventKind::answered && e.act == "asks" && e.text == "nothing";
    }));
}

TEST(TwoStores, AnAnsweredAskLeavesNone) {
    auto s = pelm().started("27.1.052", "27.2.064", 1, [](StartState& st) { st.answers_asks = false; });
    ASSERT_TRUE(run_to(s, "asks"));
    EXPECT_TRUE(s.answer("key"));
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_TRUE(s.faults("main").empty());
}

TEST(TwoStores, TheEntryOfASkippedAskGoesWhenItIsCleared) {
    auto s = pelm().started("27.1.052", "27.2.064", 1, [](StartState& st) { st.answers_asks = false; });
    run_out(s);
    // Type B is 10 in the two upper bits (SAE J2012-DA, from memory): B1D22-13 is 9D 22 13.
    EXPECT_EQ(s.uds(0x1081, Bytes{0x19, 0x02, 0xFF}).value(), (Bytes{0x59, 0x02, 0xFF, 0x9D, 0x22, 0x13, 0x28}));
    EXPECT_EQ(s.uds(0x1081, Bytes{0x14, 0x9D, 0x22, 0x13}).value(), (Bytes{0x54}));
    EXPECT_EQ(s.uds(0x1081, Bytes{0x19, 0x02, 0xFF}).value(), (Bytes{0x59, 0x02, 0xFF, 0x9D, 0x22, 0x13, 0x50}));
    s.cut_power();
    s.restore_power();
    s.advance(300);
    EXPECT_EQ(s.uds(0x1081, Bytes{0x19, 0x02, 0xFF}).value(), (Bytes{0x59, 0x02, 0xFF}));
}

}  // namespace
}  // namespace fettle::standin
