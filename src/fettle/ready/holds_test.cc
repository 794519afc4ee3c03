#include "fettle/ready/holds.h"

#include <gtest/gtest.h>

namespace fettle::ready {
namespace {

class Witness : public testing::Test {
protected:
    Witness() {
        family_.supply.emplace();
        family_.supply->lowest_V = 11.5;
        family_.holds = {{"support", "the support supply stays on", true, true, false, {}}};
    }
    VoltageWitness start(double volts = 13.5, int calm_s = 60) {
        VoltageWitness w(family_, true);
        for (int i = 0; i < calm_s; ++i) EXPECT_FALSE(see(w, volts)) << i;
        return w;
    }
    std::optional<Breach> see(VoltageWitness& w, double volts) {
        t_ += 1000;
        return w.observe({t_, volts, 2.0});
    }
    family::Family family_;
    UnixMs t_ = 1'000'000;
};
TEST_F(Witness, ACrankInMidRunIsSaidAtOnceAndOnce) {
    VoltageWitness w = start(12.6);
    const auto b = see(w, 9.4);
    ASSERT_TRUE(b);
    EXPECT_EQ(b->hold, "support");
    EXPECT_EQ(b->witness, "voltage");
    EXPECT_EQ(b->at, t_);
    EXPECT_EQ(b->words, "9.4 V at the supply, from 12.6 V; the box needs 11.5 V");
    EXPECT_FALSE(see(w, 9.8));
    EXPECT_FALSE(see(w, 10.9));
}
TEST_F(Witness, ASecondCrankIsSaidAgain) {
    VoltageWitness w = start(12.6);
    EXPECT_TRUE(see(w, 9.4));
    for (int i = 0; i < 12; ++i) see(w, 12.6);
    EXPECT_TRUE(see(w, 9.5));
}
TEST_F(Witness, DipRiseAndLoss) {
    VoltageWitness dip = start();
    EXPECT_EQ(see(dip, 12.7)->words, "12.7 V at the supply, 0.8 V down");
    VoltageWitness rise = start(12.6);
    EXPECT_EQ(see(rise, 14.1)->words, "14.1 V at the supply, 1.5 V up");  // somebody started the engine, or a charger
    VoltageWitness gone = start();
    EXPECT_NE(see(gone, 0.02)->words.find("no voltage"), std::string::npos);
}
// The run's own currents: 3 A more over 0.1 ohm is 0.3 V; and a slow fall is the battery's, not a breach.
TEST_F(Witness, WhatARunDoesByItselfIsNone) {
    VoltageWitness w = start();
    for (int i = 0; i < 600; ++i) EXPECT_FALSE(see(w, i % 7 < 3 ? 13.2 : 13.5));
    double v = 13.5;
    for (int i = 0; i < 600; ++i) EXPECT_FALSE(see(w, v -= 0.002)) << v;
}
TEST_F(Witness, AStepThatStaysIsSaidOnce) {
    VoltageWitness w = start(13.5);
    int said = 0;
    for (int i = 0; i < 600; ++i) said += see(w, 12.6).has_value();
    EXPECT_EQ(said, 1);
}
TEST_F(Witness, WhatWasNotReadIsNoEvidence) {
    VoltageWitness w = start();
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (int i = 0; i < 100; ++i) EXPECT_FALSE(see(w, nan));
    EXPECT_FALSE(w.observe({t_ - 50'000, 3.0, 0}));  // older than the last: ignored
    EXPECT_FALSE(see(w, 13.5));
}
TEST_F(Witness, AClockThatWasSetBackDoesNotBlindIt) {
    VoltageWitness w = start();
    t_ -= 3'600'000;
    EXPECT_FALSE(see(w, 13.5));
    EXPECT_TRUE(see(w, 9.4));
}
TEST_F(Witness, AFirstReadingBelowTheLowestIsABreach) {
    VoltageWitness w(family_, true);
    EXPECT_TRUE(see(w, 10.0));
}
TEST(HoldsOf, TheFamilysWordTakesTheGeneralOnesPlace) {
    family::Family f;
    f.holds = {{"ignition", "ignition stays on", false, true, false, {}}, {"doors", "doors stay shut", false, true, false, {}}};
    const auto holds = holds_of(f, false);
    EXPECT_EQ(holds[0].id, "ignition");
    EXPECT_EQ(holds[0].seen_by, std::vector<std::string>{"voltage"});
    int doors = 0;
    for (const auto& h : holds) {
        doors += h.id == "doors";
        EXPECT_NE(h.id, "key");
    }
    EXPECT_EQ(doors, 1);
    EXPECT_EQ(hold_seen_by(holds, "bus"), "other-testers");
    EXPECT_EQ(hold_seen_by(holds, "voltage"), "charger");
    EXPECT_EQ(hold_seen_by({}, "bus"), "supply");
}

}  // namespace
}  // namespace fettle::ready
