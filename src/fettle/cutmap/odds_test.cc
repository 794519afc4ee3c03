#include "fettle/cutmap/odds.h"

#include <gtest/gtest.h>

#include <cmath>

#include "fettle/change/test_releases.h"

namespace fettle::cutmap {
namespace {

using namespace change::test;

// Three acts of fixed length, the second without a way back.
struct Fixed {
    forecast::Forecast f;
    CutMap map;
    Fixed() {
        auto d = std::make_shared<forecast::Draws>();
        d->seconds = {{600, 600}, {60, 60}, {540, 540}};
        f.by_state = d;
        f.total.p90_s = 1200;
        const auto moment = [&](std::size_t act, double from, double part, Outcome one, Outcome two) {
            Moment m;
            m.act_number = act;
            m.from = from;
            m.part = part;
            m.outcomes = {one};
            m.two_cuts = {one, two};
            map.moments.push_back(m);
        };
        moment(0, 0, 1, Outcome::nothing_changed, Outcome::nothing_changed);
        moment(1, 0, 0.5, Outcome::lost, Outcome::lost);
        moment(1, 0.5, 0.5, Outcome::bench_repair, Outcome::bench_repair);
        moment(2, 0, 1, Outcome::same_card, Outcome::lost);
        map.cuts = 2;
    }
};

// By hand, from the Poisson process: a first cut in [a, b) has the chance exp(−λa) − exp(−λb).
TEST(Odds, AreThePoissonProcessOfTheFirstCut) {
    const Fixed x;
    const auto o = odds(x.map, x.f, 0.5);
    const double per_s = 0.5 / 3600;
    const auto p = [&](double a, double b) { return std::exp(-per_s * a) - std::exp(-per_s * b); };
    EXPECT_NEAR(o.worst.at(Outcome::nothing_changed), p(0, 600), 1e-12);
    EXPECT_NEAR(o.worst.at(Outcome::lost), p(600, 630), 1e-12);
    EXPECT_NEAR(o.worst.at(Outcome::bench_repair), p(630, 660), 1e-12);
    EXPECT_NEAR(o.worst.at(Outcome::same_card), p(660, 1200), 1e-12);
    EXPECT_NEAR(o.no_cut, std::exp(-per_s * 1200), 1e-12);
    EXPECT_NEAR(o.no_way_back(), p(600, 660), 1e-12);
    EXPECT_NEAR(o.further_no_way_back, p(660, 1200) * (1 - std::exp(-per_s * 1200)), 1e-12);
}

TEST(Odds, SumToOneAndGrowWithTheRate) {
    const auto set = set_at("27.1.110");
    const auto sheet = change::change_sheet(dunnock(), release("27.3.118", "4.0"),
                                            change::infer(release("27.1.110", "3.0"), set), set);
    const auto f = forecast::forecast(dunnock(), sheet, {});
    const auto map = power_cut_map(dunnock(), sheet, f, 1);
    double before = 0;
    for (const double rate : {0.0, 0.02, 0.5}) {
        const auto o = odds(map, f, rate);
        double sum = o.no_cut;
        for (const auto& [outcome, p] : o.worst) sum += p;
        EXPECT_NEAR(sum, 1, 1e-6) << rate;
        EXPECT_GE(o.no_way_back(), before);
        EXPECT_EQ(o.further_no_way_back, 0);  // the map was made for one cut
        before = o.no_way_back();
    }
    EXPECT_GT(before, 0);
    // A short zone and a small rate: the rate times the zone's length, nearly.
    EXPECT_NEAR(odds(map, f, 0.02).no_way_back(), 0.02 / 3600 * map.no_way_back_p50_s,
                0.1 * 0.02 / 3600 * map.no_way_back_p50_s);
    EXPECT_THROW(odds(map, f, -1), std::invalid_argument);
    EXPECT_THROW(odds(map, f, std::nan("")), std::invalid_argument);
}

}  // namespace
}  // namespace fettle::cutmap
