// Power cuts, card taken out, and what the set draws.
#include "fettle/standin/box_test_help.h"

namespace fettle::standin {
namespace {

// --- power -----------------------------------------------------------------------------------------------------------

VirtualSet cut_in(const std::string& act, int cell = -1, double more_s = 1.0) {
    auto s = started("27.1.110", "27.3.118");
    EXPECT_TRUE(run_to(s, act));
    while (cell >= 0 && s.position().cell < cell) s.advance(0.5);
    s.advance(more_s);
    EXPECT_EQ(s.position().act, act);
    s.cut_power();
    return s;
}

TEST(Power, CutWhileReadingChangesNothing) {
    EXPECT_EQ(cut_in("reading").fate(), Fate::nothing_changed);
}

TEST(Power, CutInTheRecoveryRegionStartsWithoutNet) {
    auto s = cut_in("recovery");
    EXPECT_EQ(s.fate(), Fate::starts_no_net);
    s.restore_power();
    s.advance(600);
    EXPECT_EQ(s.boxes_now()[0].mode, Mode::normal);
    EXPECT_EQ(s.boxes_now()[0].doing, Doing::rests);
    // A person starts it again, and it comes through.
    ASSERT_TRUE(s.start_update());
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(s.release("main"), "27.3.118");
}

TEST(Power, CutInTheStartCodeIsBenchRepair) {
    auto s = cut_in("start-code");
    EXPECT_EQ(s.fate(), Fate::bench_repair);
    s.restore_power();
    s.advance(600);
    EXPECT_EQ(s.boxes_now()[0].mode, Mode::bench_repair);
    EXPECT_NE(s.boxes_now()[0].way_in.find("service connector"), std::string::npos);
    EXPECT_FALSE(s.uds(0x1041, Bytes{0x3E, 0x00}));
    EXPECT_FALSE(s.start_update());
}

TEST(Power, CutInTheMainSystemGoesOnWithTheCardAtTheSameCell) {
    auto s = cut_in("system", 9);
    EXPECT_EQ(s.fate(), Fate::same_card);
    const auto landed = s.tally().landed;
    s.restore_power();
    s.advance(100);
    EXPECT_EQ(s.boxes_now()[0].mode, Mode::recovery);
    EXPECT_GE(s.tally().landed + 1, landed);
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(s.release("main"), "27.3.118");
    EXPECT_EQ(s.tally().to_come, 0);
}

TEST(Power, WithoutItsCardItWaitsAndTakesUpWhenTheCardIsBack) {
    auto s = cut_in("system", 9);
    s.remove_card();
    s.restore_power();
    s.advance(3600);
    EXPECT_EQ(s.boxes_now()[0].doing, Doing::waits);
    EXPECT_FALSE(s.running());
    s.insert_card(card_for("26.4.102"));  // another one is no help
    s.advance(60);
    EXPECT_FALSE(s.running());
    s.insert_card(card_for("27.3.118"));
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
}

TEST(Power, ManyCutsInARowStillComeThrough) {
    auto s = started("27.1.110", "27.3.118");
    ASSERT_TRUE(run_to(s, "kernel"));
    for (int i = 0; i < 25; ++i) {
        s.advance(70 + 7 * i);
        if (!s.running()) break;
        s.cut_power();
        s.advance(5);
        s.restore_power();
        s.advance(60);
    }
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(s.release("display"), "27.3.118");
}

TEST(Power, ACopyIsASnapshotThatLivesOnByItself) {
    auto s = started("27.1.110", "27.3.118");
    run_to(s, "system");
    VirtualSet copy = s;
    copy.cut_power();
    EXPECT_TRUE(s.powered());
    EXPECT_FALSE(copy.powered());
    run_out(s);
    EXPECT_EQ(s.ending(), Ending::complete);
    EXPECT_EQ(copy.ending(), Ending::none_yet);
}

TEST(Power, TheDoorRaisesTheCounterOnceTheNewSystemStarted) {
    auto s = started("26.1.090", "26.4.102");
    ASSERT_TRUE(run_to(s, "display"));
    EXPECT_EQ(s.counter("main"), 0);
    run_out(s);
    EXPECT_EQ(s.counter("main"), 1);
    EXPECT_EQ(s.counter("display"), 1);
}

TEST(Power, DoneIsDone) {
    auto s = started("27.1.110", "27.3.118");
    run_out(s);
    EXPECT_EQ(s.fate(), Fate::done);
}

TEST(Power, CurrentFollowsTheActAndIsNothingWithoutPower) {
    auto s = started("27.1.110", "27.3.118");
    run_to(s, "display");
    double sum = 0;
    for (int i = 0; i < 60; ++i) {
        sum += s.current_A();
        s.advance(1);
    }
    EXPECT_NEAR(sum / 60, 2.5, 0.2);  // mean_A of the act in the family file
    s.cut_power();
    EXPECT_EQ(s.current_A(), 0);
}

// --- diagnostic side
// ---------------------------------------------------------------------------------------------------

}  // namespace
}  // namespace fettle::standin
