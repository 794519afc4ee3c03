#include "fettle/forecast/forecast.h"

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include <boost/math/distributions/lognormal.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <random>

#include "fettle/change/test_releases.h"

namespace fettle::forecast {
namespace {

using namespace change::test;

const double z90 = boost::math::quantile(boost::math::normal(), 0.9);

family::Act wait_act(const std::string& id, double median_s, double p90_s, const char* source = "measured 12") {
    family::Act a;
    a.id = id;
    a.kind = family::ActKind::wait;
    a.box = "main";
    a.seconds = family::Duration{median_s, p90_s, source, {}};
    a.current = family::Current{2.0, 3.0, source};
    return a;
}

family::Family waits(std::vector<family::Act> acts) {
    family::Family f;
    f.id = "test";
    f.boxes.push_back({"main", "main box", {}, "own medium", "", "infotainment"});
    f.script = std::move(acts);
    return f;
}

change::ChangeSheet sheet_to(const std::string& to = "2") {
    change::ChangeSheet s;
    s.to = to;
    return s;
}

change::ChangeSheet dunnock_sheet(int system = 8) {
    const auto from = release("27.1.110", "3.0", "", 1, system);
    const auto to = release("27.3.118", "4.0", "", 1, system);
    const auto set = set_at("27.1.110");
    return change::change_sheet(dunnock(), to, change::infer(from, set), set);
}

TEST(Forecast, OneStateIsItsLogNormal) {
    const auto f = forecast(waits({wait_act("w", 100, 150)}), sheet_to(), {});
    const boost::math::lognormal want(std::log(100.0), std::log(1.5) / z90);  // Boost.Math
    EXPECT_NEAR(f.total.p50_s, boost::math::quantile(want, 0.50), 0.2);
    EXPECT_NEAR(f.total.p10_s, boost::math::quantile(want, 0.10), 0.4);
    EXPECT_NEAR(f.total.p90_s, 150, 1.0);
    EXPECT_NEAR(f.total.p99_s, boost::math::quantile(want, 0.99), 4.0);
}

TEST(Forecast, TwoEqualStatesSumWithTheSharedFactor) {
    // Two states of one small spread σ with correlation 1/2: the sum is nearly normal, variance σ²(1 + 1 + 2·1/2).
    const double sigma = 0.05;
    const double p90 = 100 * std::exp(sigma * z90);
    const auto f = forecast(waits({wait_act("a", 100, p90), wait_act("b", 100, p90)}), sheet_to(), {});
    EXPECT_NEAR(f.total.p90_s, 200 + z90 * 100 * sigma * std::sqrt(3.0), 1.0);
    EXPECT_LT(f.total.p90_s, 2 * p90 - 1);  // never the sum of quantiles
}

TEST(Forecast, ANoiselessScriptHasNoSpread) {
    const auto f = forecast(waits({wait_act("a", 60, 60), wait_act("b", 30, 30)}), sheet_to(), {});
    EXPECT_NEAR(f.total.p10_s, 90, 1e-4);
    EXPECT_NEAR(f.total.p99_s, 90, 1e-4);
    EXPECT_NEAR(f.states[1].begins.p50_s, 60, 1e-4);
    EXPECT_NEAR(f.energy_p50_Ah, 2.0 * 90 / 3600, 1e-6);
}

TEST(Forecast, TheSameSeedGivesTheSameAndOthersNearlyThe) {
    const auto family = dunnock();
    const auto a = forecast(family, dunnock_sheet(), {}, 7);
    const auto b = forecast(family, dunnock_sheet(), {}, 7);
    EXPECT_EQ(a.draws_s, b.draws_s);
    for (std::uint64_t seed = 1; seed < 12; ++seed) {
        const auto c = forecast(family, dunnock_sheet(), {}, seed);
        EXPECT_NEAR(c.total.p90_s / a.total.p90_s, 1, 0.005) << seed;
        EXPECT_NEAR(c.total.p50_s / a.total.p50_s, 1, 0.005) << seed;
    }
}

TEST(Forecast, AgreesWithFreeDrawsOfTheSameModel) {
    // The standard library's generator and normal distribution, 200,000 free draws, the model's formula written out.
    const std::vector<std::pair<double, double>> states{{35, 0.42}, {200, 0.12}, {400, 0.15}, {60, 0.44}, {300, 0.18}};
    std::vector<family::Act> acts;
    double weight = 0;
    double square = 0;
    for (const auto& [median, sigma] : states) {
        acts.push_back(wait_act("w" + std::to_string(acts.size()), median, median * std::exp(sigma * z90)));
        weight += median;
        square += median * sigma * sigma;
    }
    const double shared = std::sqrt(0.5 * square / weight);
    std::mt19937_64 random(99);
    std::normal_distribution<double> normal;
    std::vector<double> totals(200000);
    for (auto& t : totals) {
        const double z = normal(random);
        for (const auto& [median, sigma] : states) {
            const double a = std::min(shared, sigma);
            t += median * std::exp(a * z + std::sqrt(sigma * sigma - a * a) * normal(random));
        }
    }
    const auto want = quantiles_of(totals);
    const auto got = forecast(waits(acts), sheet_to(), {}).total;
    EXPECT_NEAR(got.p10_s / want.p10_s, 1, 0.005);
    EXPECT_NEAR(got.p50_s / want.p50_s, 1, 0.004);
    EXPECT_NEAR(got.p90_s / want.p90_s, 1, 0.005);
    EXPECT_NEAR(got.p99_s / want.p99_s, 1, 0.012);
}

TEST(Forecast, WritesTakeOverheadAndBytes) {
    const auto family = dunnock();
    const auto sheet = dunnock_sheet();
    const auto* act = family.act("kernel");
    const auto* region = family.region("main", "kernel");
    const auto t = state_time(family, sheet, *act);
    EXPECT_NEAR(t.median_s, region->overhead_s + 1.0 / region->rate_mib_s, 1e-9);  // one piece of 1 MiB
    EXPECT_EQ(t.sigma, region->spread);
    const auto* system = family.act("system");
    EXPECT_EQ(lines_of(family, sheet, *system).size(), 8u);
    EXPECT_TRUE(lines_of(family, sheet, *family.act("asks")).empty());
}

TEST(Forecast, KeptPiecesCostNoTime) {
    const auto family = dunnock();
    const auto r = release("27.3.118", "4.0");
    const auto set = set_at("27.3.118");
    const auto sheet = change::change_sheet(family, r, change::infer(r, set), set);
    EXPECT_EQ(state_time(family, sheet, *family.act("system")).median_s, 0);
}

TEST(Forecast, WindowsFollowOneAnother) {
    const auto f = forecast(dunnock(), dunnock_sheet(), {});
    ASSERT_EQ(f.states.size(), dunnock().script.size());
    int hands = 0;
    for (std::size_t i = 1; i < f.states.size(); ++i) {
        EXPECT_GE(f.states[i].begins.p50_s, f.states[i - 1].begins.p50_s);
        EXPECT_LE(f.states[i].begins.p10_s, f.states[i].begins.p90_s);
        hands += f.states[i].hands_on ? 1 : 0;
    }
    EXPECT_EQ(hands, 1);
    EXPECT_EQ(f.states.front().begins.p90_s, 0);
    EXPECT_NEAR(f.states.back().begins.p50_s, f.total.p50_s, 1e-3);  // the end act takes no time
    EXPECT_GT(f.peak_A, 0);
    EXPECT_GT(f.energy_p90_Ah, f.energy_p50_Ah);
    EXPECT_NEAR(f.reserve_Ah, 600 * 2.5 / 3600, 1e-9);  // reserve_s of the family at its greatest mean current
}

TEST(TotalOf, StoryFourteen) {
    // Steps of 18 min (sd 3) and 24 min (sd 4), near normal. Independent normals: 42 and 42 + 1.2816·5 = 48.4 min; with
    // correlation 1/2: 42 + 1.2816·√(9+16+12) = 49.8; never 21.8 + 29.1 = 51.0.
    const auto step = [](double mean, double sd, const char* to) {
        return forecast(waits({wait_act("w", mean, mean + z90 * sd)}), sheet_to(to), {});
    };
    const std::vector<Forecast> steps{step(18, 3, "A"), step(24, 4, "B")};
    const auto shared = total_of(steps);
    EXPECT_NEAR(shared.p50_s, 42.0, 0.3);
    EXPECT_NEAR(shared.p90_s, 49.8, 0.3);
    EXPECT_LT(shared.p90_s, 50.5);
    const auto apart = total_of(steps, std::nullopt, Sharing::independent);
    EXPECT_NEAR(apart.p90_s, 48.4, 0.3);
    const auto handled = total_of(steps, family::Duration{5, 5, "guess", {}});
    EXPECT_NEAR(handled.p50_s, shared.p50_s + 5, 0.1);
}

TEST(Claims, OrderStatisticsFirst) {  // story 15
    std::vector<PastRun> runs;
    for (int i = 0; i < 9; ++i) runs.push_back({23.0 * 60 + i * 60});
    EXPECT_EQ(order_claim(runs),
              "9 in 10 that the next takes 31 min or less (slowest of 9 own runs; 19 runs are needed for 19 in 20)");
    const auto f = forecast(dunnock(), dunnock_sheet(), runs);
    EXPECT_EQ(f.claim, order_claim(runs));
    EXPECT_EQ(f.rests_on, "measured 9");
    for (int i = 0; i < 10; ++i) runs.push_back({26.0 * 60});
    const auto many = forecast(dunnock(), dunnock_sheet(), runs);
    EXPECT_NE(many.claim.find("model over 19 own runs"), std::string::npos);
}

TEST(Claims, NoOwnRunIsCantSayAndTheFilesBand) {  // story 16
    const auto f = forecast(dunnock(), dunnock_sheet(), {});
    EXPECT_EQ(f.claim.find("can't say from own record"), 0u);
    EXPECT_NE(f.claim.find("family file's band"), std::string::npos);
    EXPECT_EQ(f.rests_on, "family file");
}

TEST(Claims, GuessesAreMarked) {
    const auto f = forecast(waits({wait_act("w", 10, 20, "guess")}), sheet_to(), {});
    EXPECT_EQ(f.rests_on, "guess");
    EXPECT_EQ(f.judgement.verdict(), Verdict::mind);
    auto none = wait_act("w", 10, 20);
    none.seconds.reset();
    EXPECT_EQ(forecast(waits({none}), sheet_to(), {}).judgement.verdict(), Verdict::cant_say);
}

TEST(OwnRuns, PullTheForecastTowardsThem) {
    const auto sheet = dunnock_sheet();
    const auto before = forecast(dunnock(), sheet, {});
    std::vector<PastRun> slow(12, PastRun{before.total.p50_s * 1.5});
    for (std::size_t i = 0; i < slow.size(); ++i) slow[i].seconds *= 0.97 + 0.005 * static_cast<double>(i);
    const auto after = forecast(dunnock(), sheet, slow);
    EXPECT_GT(after.total.p50_s, before.total.p50_s * 1.3);
    EXPECT_LT(after.total.p50_s, before.total.p50_s * 1.5);  // the prior still counts as three runs
    EXPECT_NEAR(after.states.back().begins.p50_s / after.total.p50_s, 1, 0.001);
}

TEST(Survival, IsTheStatesOwnTail) {
    const auto family = dunnock();
    const auto sheet = dunnock_sheet();
    EXPECT_NEAR(survival(family, sheet, "dark-1", 35), 0.5, 1e-9);  // the family file's median
    EXPECT_NEAR(survival(family, sheet, "dark-1", 70), 0.1, 1e-9);  // and its 90 % point
    EXPECT_EQ(survival(family, sheet, "dark-1", 0), 1);
    EXPECT_EQ(survival(family, sheet, "switch", 1), 0);
    EXPECT_EQ(survival(family, sheet, "no such act", 1), 0);
}

TEST(QuantilesOf, SmallSamples) {
    std::vector<double> one{5};
    EXPECT_EQ(quantiles_of(one).p90_s, 5);
    std::vector<double> none;
    EXPECT_EQ(quantiles_of(none).p50_s, 0);
}

RC_GTEST_PROP(QuantilesOf, AgreesWithSorting, ()) {
    auto v = *rc::gen::nonEmpty(rc::gen::container<std::vector<double>>(
        rc::gen::map(rc::gen::inRange(0, 1000), [](int i) { return i / 7.0; })));
    auto sorted = v;
    std::sort(sorted.begin(), sorted.end());
    const auto want = [&](double p) {
        const double pos = p * static_cast<double>(sorted.size() - 1);
        const auto k = static_cast<std::size_t>(pos);
        return k + 1 < sorted.size() ? sorted[k] + (pos - static_cast<double>(k)) * (sorted[k + 1] - sorted[k])
                                     : sorted[k];
    };
    const auto q = quantiles_of(v);
    RC_ASSERT(std::abs(q.p10_s - want(0.1)) < 1e-9);
    RC_ASSERT(std::abs(q.p50_s - want(0.5)) < 1e-9);
    RC_ASSERT(std::abs(q.p90_s - want(0.9)) < 1e-9);
    RC_ASSERT(std::abs(q.p99_s - want(0.99)) < 1e-9);
}

}  // namespace
}  // namespace fettle::forecast
