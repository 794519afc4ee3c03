#include "fettle/forecast/share_bounds.h"

#include <gtest/gtest.h>

#include <cmath>

#include "fettle/base/test_csv.h"

namespace fettle::forecast {
namespace {

// Exact two-sided intervals of the published table are pairs of one-sided ones.
TEST(ShareBounds, ClopperPearsonAgreesWithTheTable) {
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
TEST(ShareBounds, NoneInNIsNotNever) {
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
