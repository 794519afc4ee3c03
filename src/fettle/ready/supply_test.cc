#include "fettle/ready/supply.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <fstream>

#include "fettle/base/text.h"

namespace fettle::ready {
namespace {

std::vector<std::vector<std::string>> table(const std::string& name) {
    std::ifstream in(std::string(FETTLE_SOURCE_DIR) + "/tests/data/reference/" + name);
    EXPECT_TRUE(in) << name;
    std::vector<std::vector<std::string>> rows;
    std::string line;
    std::getline(in, line);
    while (std::getline(in, line)) rows.push_back(split(line, ','));
    EXPECT_FALSE(rows.empty());
    return rows;
}

// Peukert's law in its form for a rating at H hours: worked table; k = 1 must give C / I.
TEST(Peukert, AgreesWithTheWorkedTable) {
    for (const auto& r : table("peukert.csv")) {
        const double c = std::stod(r[0]), h = std::stod(r[1]), i = std::stod(r[2]), k = std::stod(r[3]);
        EXPECT_NEAR(peukert_hours(c, h, i, k), std::stod(r[4]), 1e-5);
        EXPECT_NEAR(peukert_hours(c, h, i, k) * i, std::stod(r[5]), 1e-5);
    }
    EXPECT_DOUBLE_EQ(peukert_hours(100, 20, 5, 1.2), 20);  // its own rate gives its own time
    EXPECT_GT(std::abs(100 / std::pow(5, 1.2) - 20), 5);   // the other form in circulation does not
}
TEST(Peukert, DrawingForThatLongEmptiesTheRating) {
    for (const auto& r : table("peukert.csv")) {
        const double c = std::stod(r[0]), h = std::stod(r[1]), i = std::stod(r[2]), k = std::stod(r[3]);
        EXPECT_NEAR(drawn_Ah(c, h, i, peukert_hours(c, h, i, k), k), c, 1e-6 * c);
    }
}
TEST(Peukert, GivesNothingAwayBelowTheRatedCurrent) {
    EXPECT_DOUBLE_EQ(drawn_Ah(100, 20, 1, 3, 1.2), 3);
}

// Battery Council International table: rows, and the middles between them.
TEST(OpenCircuit, ChargeFromRestedVoltage) {
    for (const auto& r : table("ocv-soc.csv"))
        EXPECT_NEAR(charge_from_rested_V(std::stod(r[0])), std::stod(r[1]) / 100, 1e-9);
    EXPECT_NEAR(charge_from_rested_V(12.55), 0.875, 1e-9);
    EXPECT_NEAR(charge_from_rested_V(12.345), 0.625, 1e-9);
    EXPECT_NEAR(charge_from_rested_V(12.15), 0.375, 1e-9);
    EXPECT_NEAR(charge_from_rested_V(11.975), 0.125, 1e-9);
    EXPECT_EQ(charge_from_rested_V(13.2), 1);
    EXPECT_EQ(charge_from_rested_V(9), 0);
}

// IEC 60228 class 5, both ways, and the worked drops.
TEST(Leads, LoopResistanceAndDrop) {
    for (const auto& r : table("voltage-drop.csv")) {
        const auto ohm = loop_ohm(std::stod(r[2]), std::stod(r[0]), std::stod(r[3]));
        ASSERT_TRUE(ohm);
        EXPECT_NEAR(*ohm, std::stod(r[4]), 5e-6);
        EXPECT_NEAR(*ohm * std::stod(r[1]), std::stod(r[5]), 1e-3);
    }
    EXPECT_FALSE(loop_ohm(5, 3.3));
}
TEST(Leads, SectionsAreTheStandards) {
    for (const auto& r : table("iec60228-class5.csv")) {
        const double mm2 = std::stod(r[0]);
        if (mm2 > 150) continue;  // beyond what a bench has
        ASSERT_TRUE(loop_ohm(1000, mm2)) << mm2;
        EXPECT_NEAR(*loop_ohm(1000, mm2), 2 * std::stod(r[1]), 1e-9);
    }
}

family::Family with_supply() {
    family::Family f;
    f.supply.emplace();
    f.supply->lowest_V = 11.5;
    f.supply->support_V = 13.5;
    f.supply->source = "measured 12";
    return f;
}
bool has(const SupplyAnswer& a, std::string_view code) {
    for (const Reason& r : a.judgement.reasons) {
        if (r.code == code) return true;
    }
    return false;
}

// Story 18: ignition on at 12 A for 38 min; 60 Ah, health 80 %, charge 60 %, floor 50 %.
class Story18 : public testing::Test {
protected:
    Story18() {
        n_.seconds_p50 = n_.seconds_p90 = 38 * 60;
        n_.mean_A = n_.peak_A = 12;
        n_.ah_p90 = 12 * 38 / 60.0;
        n_.draws_s.assign(100, 38 * 60);
        n_.rests_on = "measured 12";
        f_.on_bench = false;
        f_.support = false;
        f_.battery_Ah = 60;
        f_.health = 0.8;
        f_.charge = 0.6;
        f_.floor = 0.5;
        f_.peukert_k = 1.0;
        f_.vehicle_A = 12;
    }
    Need n_;
    SupplyFigures f_;
};
TEST_F(Story18, NeedsSevenPointSixHasFourPointEight) {
    const SupplyAnswer a = judge_supply(with_supply(), n_, f_);
    EXPECT_NEAR(a.needs_Ah, 7.6, 1e-9);
    EXPECT_NEAR(a.has_Ah, 4.8, 1e-9);
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
    EXPECT_TRUE(has(a, "battery-short"));
    ASSERT_FALSE(a.remedies.empty());
    EXPECT_EQ(a.remedies[0], "fit a support supply that gives 12 A or more, set to 13.5 V");
    EXPECT_EQ(a.remedies[1], "or charge the battery to 66 % or more");  // 0.5 + 7.6 / 48
}
TEST_F(Story18, PeukertRaisesTheNeed) {
    f_.peukert_k = 1.2;
    EXPECT_NEAR(judge_supply(with_supply(), n_, f_).needs_Ah, 10.0, 0.05);
}
TEST_F(Story18, TheSearchedChargeIsTheLeastThatServes) {
    f_.charge = 0.66;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "battery-enough"));
    f_.charge = 0.65;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "battery-short"));
}
TEST_F(Story18, OddsDecideBetweenFitMindAndHalt) {
    f_.charge = 0.66;  // has 7.68 Ah: 38.4 min
    const auto verdict = [&](int too_long) {
        n_.draws_s.assign(static_cast<std::size_t>(1000 - too_long), 38 * 60);
        n_.draws_s.insert(n_.draws_s.end(), static_cast<std::size_t>(too_long), 60 * 60);
        const SupplyAnswer a = judge_supply(with_supply(), n_, f_);
        return has(a, "battery-enough") ? Verdict::fit : has(a, "battery-barely") ? Verdict::mind : Verdict::halt;
    };
    EXPECT_EQ(verdict(10), Verdict::fit);  // 99 %
    EXPECT_EQ(verdict(11), Verdict::mind);
    EXPECT_EQ(verdict(50), Verdict::mind);  // 95 %
    EXPECT_EQ(verdict(51), Verdict::halt);
}
TEST_F(Story18, AVoltageTellsTheChargeOnlyAfterRest) {
    f_.charge.reset();
    f_.rested_V = 12.65;
    f_.rested_h = 5.9;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "battery-not-rested"));
    f_.rested_h = 6;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "battery-enough"));
}
TEST_F(Story18, EveryMissingFigureIsNamed) {
    for (auto reset : {+[](SupplyFigures& f) { f.battery_Ah.reset(); }, +[](SupplyFigures& f) { f.health.reset(); },
                       +[](SupplyFigures& f) { f.charge.reset(); }, +[](SupplyFigures& f) { f.vehicle_A.reset(); },
                       +[](SupplyFigures& f) { f.support.reset(); }}) {
        SupplyFigures f = f_;
        reset(f);
        const SupplyAnswer a = judge_supply(with_supply(), n_, f);
        EXPECT_EQ(a.wanted.size(), 1u);
        EXPECT_GE(a.judgement.verdict(), Verdict::cant_say);
    }
}

class Bench : public testing::Test {
protected:
    Bench() {
        n_.mean_A = 2.2;
        n_.peak_A = 3.2;
        n_.rests_on = "measured 12";
        f_.set_V = 13.5;
        f_.limit_A = 5;
        f_.lead_m = 2;
        f_.lead_mm2 = 2.5;
    }
    SupplyAnswer judge() const { return judge_supply(with_supply(), n_, f_); }
    Need n_;
    SupplyFigures f_;
};
TEST_F(Bench, EnoughIsFitAndSaysTheVoltageAtTheBox) {
    const SupplyAnswer a = judge();
    EXPECT_EQ(a.judgement.verdict(), Verdict::fit);
    EXPECT_NEAR(*a.at_box_V, 13.5 - 3.2 * 2 * 2 * 7.98e-3, 1e-9);
    EXPECT_TRUE(a.remedies.empty());
}
TEST_F(Bench, LimitBelowThePeakHalts) {
    f_.limit_A = 3.1;
    const SupplyAnswer a = judge();
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
    EXPECT_EQ(a.remedies.at(0), "raise the current limit to 3.2 A or more");
    f_.limit_A = 3.2;
    EXPECT_EQ(judge().judgement.verdict(), Verdict::fit);
}
TEST_F(Bench, ThinLongLeadsHaltAndTheRemediesServe) {
    f_.set_V = 12.0;
    f_.lead_m = 5;
    f_.lead_mm2 = 0.75;
    SupplyAnswer a = judge();
    ASSERT_TRUE(has(a, "voltage-too-low"));
    ASSERT_EQ(a.remedies.size(), 3u);
    EXPECT_EQ(a.remedies[0], "set the supply to 12.7 V or more");
    f_.set_V = 12.7;
    EXPECT_EQ(judge().judgement.verdict(), Verdict::fit);
    f_.set_V = 12.6;
    EXPECT_EQ(judge().judgement.verdict(), Verdict::mind);  // near the lowest
}
TEST_F(Bench, TooHighHalts) {
    f_.set_V = 16.1;
    EXPECT_TRUE(has(judge(), "voltage-too-high"));
    f_.set_V = 15;
    EXPECT_EQ(judge().judgement.verdict(), Verdict::mind);
}
TEST_F(Bench, WithoutLeadFiguresTheRoomIsSaid) {
    f_.lead_m.reset();
    const SupplyAnswer a = judge();
    EXPECT_EQ(a.judgement.verdict(), Verdict::mind);
    EXPECT_TRUE(has(a, "lead-not-said"));
    f_.set_V = 12.0;  // little room: can't say
    EXPECT_EQ(judge().judgement.verdict(), Verdict::cant_say);
    f_.set_V = 11.4;  // below what it needs before any drop
    EXPECT_EQ(judge().judgement.verdict(), Verdict::halt);
}
TEST_F(Bench, UnknownCurrentOfTheFamilyIsCantSay) {
    n_.peak_A = 0;
    EXPECT_EQ(judge().judgement.verdict(), Verdict::cant_say);
}

// More volts, thicker leads or a higher limit never make the verdict worse (below the high mark).
RC_GTEST_PROP(SupplyProperty, BetterFiguresAreNeverWorse, ()) {
    Need n;
    n.mean_A = 2;
    n.peak_A = *rc::gen::inRange(1, 60) / 4.0;
    n.rests_on = "measured 3";
    SupplyFigures f;
    f.set_V = 10 + *rc::gen::inRange(0, 40) / 10.0;
    f.limit_A = *rc::gen::inRange(1, 20);
    f.lead_m = *rc::gen::inRange(1, 10);
    f.lead_mm2 = *rc::gen::element(0.75, 1.5, 2.5, 4.0);
    const Verdict before = judge_supply(with_supply(), n, f).judgement.verdict();
    SupplyFigures better = f;
    better.set_V = std::min(14.8, *f.set_V + 0.5);
    better.limit_A = *f.limit_A + 1;
    better.lead_mm2 = 6;
    RC_ASSERT(judge_supply(with_supply(), n, better).judgement.verdict() <= before);
}

}  // namespace
}  // namespace fettle::ready
