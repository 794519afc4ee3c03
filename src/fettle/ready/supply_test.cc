#include "fettle/ready/supply.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>

namespace fettle::ready {
namespace {

family::Family with_supply() {
    family::Family f;
    f.supply.emplace();
    f.supply->lowest_V = 11.5;
    f.supply->support_V = 13.5;
    f.supply->source = "measured 12";
    return f;
}
const Reason* find(const SupplyAnswer& a, std::string_view code) {
    for (const Reason& r : a.judgement.reasons) {
        if (r.code == code) return &r;
    }
    return nullptr;
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
        n_.peak_A = 2;  // the set; the vehicle takes the other 10 A
        n_.ah_p50 = n_.ah_p90 = 2 * 38 / 60.0;
        n_.draws.assign(100, {38 * 60, 2 * 38 / 60.0});
        n_.rests_on = "measured 12";
        f_.on_bench = false;
        f_.support = false;
        f_.battery_Ah = 60;
        f_.health = 0.8;
        f_.charge = 0.6;
        f_.floor = 0.5;
        f_.peukert_k = 1.0;
        f_.vehicle_A = 10;
        f_.battery_C = 25;
    }
    Need n_;
    SupplyFigures f_;
};
// A charger that gives less than the battery has at rest gives nothing, whatever it is called and whoever says that it
// supports: the battery then counts alone, and is short as it was.
TEST_F(Story18, AVoltageBelowTheBatterysOwnSupportsNothing) {
    f_.support = true;
    f_.set_V = 12.3;  // the table has 12.4 V at 75 %
    f_.charge = 0.75;
    f_.limit_A = 40;
    SupplyAnswer a = judge_supply(with_supply(), n_, f_);
    EXPECT_TRUE(has(a, "support-gives-nothing"));
    EXPECT_FALSE(has(a, "supply-limit-enough"));
    f_.charge = 0.6;
    f_.set_V = 13.5;
    f_.measured_V = 12.0;  // the figure replaces the word, and the setting
    a = judge_supply(with_supply(), n_, f_);
    EXPECT_TRUE(has(a, "support-gives-nothing"));
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
    f_.measured_V = 13.4;
    EXPECT_FALSE(has(judge_supply(with_supply(), n_, f_), "support-gives-nothing"));
}
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
        n_.draws.assign(static_cast<std::size_t>(1000 - too_long), {38 * 60, 2 * 38 / 60.0});
        n_.draws.insert(n_.draws.end(), static_cast<std::size_t>(too_long), {60 * 60, 2});
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
        EXPECT_EQ(std::count_if(a.wanted.begin(), a.wanted.end(),
                                [](const std::string& w) { return !w.starts_with("battery.loaded"); }),
                  1);
        EXPECT_GE(a.judgement.verdict(), Verdict::cant_say);
    }
}

TEST_F(Story18, TheColdTakesItsPart) {
    f_.charge = 0.70;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "battery-enough"));  // 9.6 Ah
    f_.battery_C = 4.4444444444;                                              // 40 °F: 9.6 / 1.3 = 7.38
    const SupplyAnswer a = judge_supply(with_supply(), n_, f_);
    EXPECT_NEAR(a.has_Ah, 0.8 * 60 / 1.3 * 0.2, 1e-6);
    EXPECT_TRUE(has(a, "battery-short"));
    // Colder than the table, or not said: its last row, 25 °F and 1.52, so 6.3 Ah; and it may be less.
    f_.battery_C = -10;
    const SupplyAnswer below = judge_supply(with_supply(), n_, f_);
    EXPECT_EQ(find(below, "battery-too-cold")->verdict, Verdict::cant_say);
    EXPECT_NEAR(below.has_Ah, 0.8 * 60 / 1.52 * 0.2, 1e-6);
    EXPECT_EQ(below.judgement.verdict(), Verdict::halt);
    f_.battery_C.reset();
    const SupplyAnswer open = judge_supply(with_supply(), n_, f_);
    EXPECT_EQ(find(open, "battery-temperature-not-said")->verdict, Verdict::cant_say);
    EXPECT_NEAR(open.has_Ah, below.has_Ah, 1e-6);
    EXPECT_EQ(open.judgement.verdict(), Verdict::halt);
}
// Half charged by charge 0.7 − 7.6 Ah of 48: 12.24 + (0.5417 − 0.5) / 0.25 · 0.21 V at rest; less R · 12 A, with R from
// 12.408 V (70 %) at rest and 12.0 V at 10 A.
TEST_F(Story18, TheVoltageAtTheEndIsReckonedFromOneUnderLoad) {
    f_.kind = BatteryKind::flooded;
    f_.charge = 0.70;
    f_.loaded_V = 12.0;
    f_.loaded_A = 10;
    const SupplyAnswer a = judge_supply(with_supply(), n_, f_);
    const double ohm = (12.24 + 0.2 / 0.25 * 0.21 - 12.0) / 10;
    EXPECT_NEAR(*a.at_box_V, 12.24 + (0.70 - 7.6 / 48 - 0.5) / 0.25 * 0.21 - 12 * ohm, 1e-6);
    EXPECT_TRUE(has(a, "battery-voltage-enough"));
    f_.loaded_V = 11.8;  // 11.55 V at its end
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "battery-voltage-enough"));
    f_.loaded_V = 11.7;
    const SupplyAnswer low = judge_supply(with_supply(), n_, f_);
    EXPECT_EQ(find(low, "battery-voltage-short")->verdict, Verdict::halt);
    EXPECT_TRUE(has(low, "battery-enough"));
    EXPECT_EQ(low.odds, 0);
}
TEST_F(Story18, WithoutAVoltageUnderLoadTheRoomIsSaid) {
    f_.charge = 1;
    EXPECT_EQ(find(judge_supply(with_supply(), n_, f_), "battery-voltage-not-computed")->verdict, Verdict::mind);
    f_.vehicle_A = 40;  // 42 A: 50 mΩ would take 2.1 V
    f_.charge = 1;
    EXPECT_EQ(find(judge_supply(with_supply(), n_, f_), "battery-voltage-not-computed")->verdict, Verdict::cant_say);
}
// An AGM battery of that voltage holds less; while the kind is not said, the lower charge counts and both are shown.
TEST_F(Story18, TheKindDecidesWhatAVoltageTells) {
    f_.charge.reset();
    f_.battery_C = 26.7;
    f_.rested_V = 12.45;
    f_.rested_h = 24;
    const SupplyAnswer open = judge_supply(with_supply(), n_, f_);
    EXPECT_NE(open.value.find("62 % to 75 %"), std::string::npos) << open.value;
    f_.kind = BatteryKind::flooded;
    const SupplyAnswer flooded = judge_supply(with_supply(), n_, f_);
    EXPECT_GT(flooded.has_Ah, open.has_Ah);
    f_.kind.reset();
    f_.other_kind = true;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "battery-kind-not-known"));
}
TEST_F(Story18, ASupportSupplyMustFeedTheVehicleToo) {
    f_.support = true;
    f_.set_V = 13.5;
    f_.limit_A = 11.9;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "supply-limit-too-low"));
    f_.limit_A = 12;
    EXPECT_TRUE(has(judge_supply(with_supply(), n_, f_), "supply-limit-enough"));
    f_.vehicle_A.reset();  // then nobody knows whether it is enough
    EXPECT_EQ(find(judge_supply(with_supply(), n_, f_), "vehicle-current-not-said")->verdict, Verdict::cant_say);
    f_.limit_A = 1.9;  // not even for the set
    EXPECT_EQ(judge_supply(with_supply(), n_, f_).judgement.verdict(), Verdict::halt);
}
// What the remedies say is judged again here: each serves, and one step less does not.
RC_GTEST_PROP(RemedyProperty, TheLeastThatServes, ()) {
    Need n;
    n.peak_A = *rc::gen::inRange(1, 8);
    n.seconds_p50 = n.seconds_p90 = *rc::gen::inRange(20, 60) * 60;
    n.ah_p50 = n.ah_p90 = n.peak_A * n.seconds_p90 / 3600;
    n.draws.assign(20, {n.seconds_p90, n.ah_p90});
    n.rests_on = "measured 3";
    SupplyFigures f;
    f.on_bench = false;
    f.support = false;
    f.battery_Ah = *rc::gen::inRange(40, 90);
    f.health = *rc::gen::inRange(50, 100) / 100.0;
    f.charge = *rc::gen::inRange(50, 100) / 100.0;
    f.peukert_k = *rc::gen::element(1.0, 1.1, 1.2);
    f.battery_C = *rc::gen::inRange(0, 30);
    f.vehicle_A = *rc::gen::inRange(5, 20);
    const SupplyAnswer a = judge_supply(with_supply(), n, f);
    if (!has(a, "battery-short")) return;
    RC_ASSERT(!a.remedies.empty());
    for (const std::string& r : a.remedies) {
        const auto at = r.find("charge the battery to ");
        if (at == std::string::npos) continue;
        const double charge = std::stod(r.substr(at + 22)) / 100;
        f.charge = charge;
        RC_ASSERT(has(judge_supply(with_supply(), n, f), "battery-enough"));
        f.charge = charge - 0.01;
        RC_ASSERT(has(judge_supply(with_supply(), n, f), "battery-short"));
    }
}

class Bench : public testing::Test {
protected:
    Bench() {
        n_.peak_A = 3.2;
        f_.contacts_ohm = 0;
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
// The reference's drop at 60 °C: 6 mm², 30 A, 5 m each way: 1.1456 V.
TEST_F(Bench, WarmLeadsAndContactsCount) {
    n_.peak_A = 30;
    f_.limit_A = 40;
    f_.lead_m = 5;
    f_.lead_mm2 = 6;
    f_.lead_C = 60;
    EXPECT_NEAR(*judge().at_box_V, 13.5 - 1.1456, 1e-3);
    f_.contacts_ohm = 0.005;
    EXPECT_NEAR(*judge().at_box_V, 13.5 - 1.1456 - 0.15, 1e-3);
    f_.contacts_ohm.reset();
    EXPECT_NEAR(*judge().at_box_V, 13.5 - 1.1456 - 30 * kContacts_ohm, 1e-3);
    EXPECT_NE(find(judge(), "voltage-near-lowest")->text.find("common practice"), std::string::npos);
}
TEST_F(Bench, AVoltageMeasuredAtTheBoxBeatsReckoning) {
    f_.box_V = 12.9;
    f_.box_A = 2.0;  // 0.3 ohm
    EXPECT_NEAR(*judge().at_box_V, 13.5 - 3.2 * 0.3, 1e-9);
    f_.box_A = 0.3;  // next to no current: says nothing of the leads
    EXPECT_NEAR(*judge().at_box_V, 13.5 - 3.2 * 2 * 2 * 7.98e-3, 1e-9);
}
TEST_F(Bench, ASupplyThatIsOffOrAtItsLimitIsSeen) {
    f_.output_on = false;
    EXPECT_EQ(find(judge(), "supply-output-off")->verdict, Verdict::halt);
    f_.output_on = true;
    f_.measured_V = 12.4;
    const SupplyAnswer a = judge();
    EXPECT_TRUE(has(a, "supply-below-setting"));
    EXPECT_NEAR(*a.at_box_V, 12.4 - 3.2 * 2 * 2 * 7.98e-3, 1e-9);
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

// Charge draw by draw: a run that is slow where it draws much needs more than its time alone says.
TEST(NeedOf, CountsEachStateWithItsOwnCurrent) {
    forecast::Forecast f;
    f.total = {100, 100, 140, 140};
    f.peak_A = 5;
    f.rests_on = "family file";
    for (const double amps : {1.0, 4.0}) {
        forecast::StateWindow w;
        w.current_mean_A = amps;
        f.states.push_back(w);
    }
    auto draws = std::make_shared<forecast::Draws>();
    draws->seconds = {{60, 100}, {40, 40}};
    f.by_state = draws;
    const Need n = need_of(with_supply(), f, {});
    ASSERT_EQ(n.draws.size(), 2u);
    EXPECT_NEAR(n.draws[0].ah, (60 * 1 + 40 * 4) / 3600.0, 1e-9);
    EXPECT_NEAR(n.draws[1].ah, (100 * 1 + 40 * 4) / 3600.0, 1e-9);
    EXPECT_NEAR(n.draws[1].seconds, 140, 1e-9);
}
TEST(NeedOf, TheReserveIsTheFilesOrTheMapsLongestStretch) {
    forecast::Forecast f;
    forecast::StateWindow w;
    w.current_mean_A = 2;
    f.states.push_back(w);
    cutmap::CutMap map;
    cutmap::Stretch s;
    s.outcomes = {cutmap::Outcome::same_card};
    s.length_p90_s = 900;
    map.stretches.push_back(s);
    s.outcomes = {cutmap::Outcome::lost};
    s.length_p90_s = 5000;
    map.stretches.push_back(s);
    family::Family family = with_supply();
    Need n = need_of(family, f, map);
    EXPECT_EQ(n.reserve_s, 900);
    EXPECT_NEAR(n.reserve_Ah, 2 * 900 / 3600.0, 1e-9);
    EXPECT_EQ(n.reserve_from, "power-cut map");
    family.supply->reserve_s = 600;
    n = need_of(family, f, map);
    EXPECT_EQ(n.reserve_s, 600);
    EXPECT_EQ(n.reserve_from, "family file");
}

}  // namespace
}  // namespace fettle::ready
