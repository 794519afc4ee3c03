#include "fettle/forecast/by_hand.h"

#include <gtest/gtest.h>

#include <cmath>

#include "fettle/base/test_csv.h"

namespace fettle::forecast {
namespace {

// Story 14: 18 ± 3 and 24 ± 4 min. Independent: sd 5, 90 % point 42 + 1.2816 · 5 = 48.41; with correlation 0.5:
// variance 25 + 2 · 0.5 · 12 = 37, 49.80. Not 21.8 + 29.1 = 51.0.
TEST(ByHand, TwoStepsTogether) {
    const std::vector<NearNormal> steps = {{18 * 60, 180}, {24 * 60, 240}};
    const Quantiles apart = total_by_draws(steps, 0);
    EXPECT_NEAR(apart.p50_s / 60, 42.0, 0.1);
    EXPECT_NEAR(apart.p90_s / 60, 48.41, 0.1);
    EXPECT_NEAR(total_by_draws(steps, 0.5).p90_s / 60, 49.80, 0.1);
    EXPECT_NEAR(total_by_draws(steps, 1).p90_s / 60, 42 + 1.2816 * 7, 0.1);
}
// Story 17.
TEST(ByHand, PiecesAndBytesTogether) {
    const auto w = work_left({60, 8, 40, 80, 1600, 2.5});
    ASSERT_TRUE(w);
    EXPECT_DOUBLE_EQ(w->mib_a_second, 2);
    EXPECT_DOUBLE_EQ(w->total_s, 900);
    EXPECT_DOUBLE_EQ(w->left_s, 840);
    EXPECT_DOUBLE_EQ(w->by_pieces_s, 300);
    EXPECT_DOUBLE_EQ(w->by_bytes_s, 1200);
    EXPECT_FALSE(work_left({60, 0, 40, 80, 1600, 2.5}));
    EXPECT_FALSE(work_left({60, 8, 40, 0, 1600, 2.5}));
    EXPECT_FALSE(work_left({20, 8, 40, 80, 1600, 2.5}));
    EXPECT_FALSE(work_left({60, 41, 40, 80, 1600, 1}));
}
// Exact two-sided intervals of the published table are pairs of one-sided ones.
TEST(ByHand, ClopperPearsonAgreesWithTheTable) {
    int rows = 0;
    for (const auto& r : read_csv("clopper-pearson.csv")) {
        const auto seen = std::stoll(r.at("successes")), n = std::stoll(r.at("trials"));
        const double one_sided = 1 - (1 - std::stod(r.at("confidence"))) / 2;
        EXPECT_NEAR(upper_share(seen, n, one_sided), std::stod(r.at("upper")), 2e-6) << seen << " of " << n;
        EXPECT_NEAR(lower_share(seen, n, one_sided), std::stod(r.at("lower")), 2e-6) << seen << " of " << n;
        ++rows;
    }
    EXPECT_GE(rows, 4);
}
TEST(ByHand, NoneInNIsNotNever) {
    for (const auto& r : read_csv("rule-of-three.csv"))
        EXPECT_NEAR(upper_share(0, std::stoll(r.at("trials_without_event")), 0.95),
                    std::stod(r.at("exact_upper_95_one_sided")), 1e-6);
    EXPECT_NEAR(upper_share(0, 60, 0.95), 1 - std::pow(0.05, 1.0 / 60), 1e-9);  // story 50
    EXPECT_EQ(upper_share(0, 0, 0.95), 1);
    EXPECT_EQ(upper_share(5, 5, 0.95), 1);
    EXPECT_EQ(lower_share(0, 5, 0.95), 0);
}

}  // namespace
}  // namespace fettle::forecast
