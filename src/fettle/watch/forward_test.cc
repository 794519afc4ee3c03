// The forward pass against a textbook: Jurafsky and Martin, Speech and Language Processing, the ice-cream example.
// Hot and cold days, number of ice creams 3, 1, 3.
#include "fettle/watch/forward.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>

namespace fettle::watch {
namespace {

constexpr std::size_t kHot = 0, kCold = 1, kEnd = 2;
constexpr double kSeen[3][2] = {{0.4, 0.1}, {0.2, 0.5}, {0.4, 0.1}};  // P(3 | hot, cold), P(1 | …), P(3 | …)

// Current edition (no end state): transitions 0.6 0.4; 0.5 0.5; start 0.8, 0.2. From memory, recomputed: columns of the
// trellis 0.32, 0.02; 0.0404, 0.069; 0.023496, 0.005066; total 0.028562; filtered 0.941176, 0.369287, 0.822631 for hot.
TEST(Forward, GivesTheTextbooksTrellis) {
    const double column[3][2] = {{0.32, 0.02}, {0.0404, 0.069}, {0.023496, 0.005066}};
    const double hot[3] = {0.941176, 0.369287, 0.822631};
    Forward f({{{0.4}, kCold}, {{0.5}, kHot}});
    f.put(kHot, 0.8);
    f.put(kCold, 0.2);
    double all = 1;
    for (int t = 0; t < 3; ++t) {
        if (t > 0) f.advance();
        f.weigh(kHot, kSeen[t][0]);
        f.weigh(kCold, kSeen[t][1]);
        all *= f.normalise();
        EXPECT_NEAR(all * f.chance(kHot), column[t][0], 1e-9) << t;
        EXPECT_NEAR(all * f.chance(kCold), column[t][1], 1e-9) << t;
        EXPECT_NEAR(f.chance(kHot), hot[t], 5e-7) << t;
    }
    EXPECT_NEAR(all, 0.028562, 1e-9);
}

// The same trellis with the ages kept: tables of equal chances must change nothing.
TEST(Forward, KeptAgesOfAConstantChanceChangeNothing) {
    Forward f({{{0.4, 0.4, 0.4}, kCold}, {{0.5, 0.5}, kHot}});
    f.put(kHot, 0.8);
    f.put(kCold, 0.2);
    double all = 1;
    for (int t = 0; t < 3; ++t) {
        if (t > 0) f.advance();
        f.weigh(kHot, kSeen[t][0]);
        f.weigh_by_age(kCold, [&](std::size_t) { return kSeen[t][1]; });
        all *= f.normalise();
    }
    EXPECT_NEAR(all * f.chance(kHot), 0.023496, 1e-9);
    EXPECT_NEAR(all, 0.028562, 1e-9);
}

// A state left at the end of its second step for certain: an explicit duration, by hand.
TEST(Forward, AnExplicitDurationIsKept) {
    Forward f({{{0.0, 1.0}, 1}, {{0.25, 0.5, 1.0}, kEnd}, {{}, kEnd}});
    f.put(0, 1);
    f.advance();
    f.normalise();
    EXPECT_DOUBLE_EQ(f.chance(0), 1);
    f.advance();
    f.normalise();
    EXPECT_NEAR(f.chance(1), 1, 1e-9);
    f.advance();
    f.normalise();
    EXPECT_NEAR(f.chance(kEnd), 0.25, 1e-9);
    f.advance();
    f.normalise();
    EXPECT_NEAR(f.chance(1), 0.375, 1e-9);  // 0.75 × 0.5
    f.advance();
    f.normalise();
    EXPECT_NEAR(f.chance(kEnd), 1, 1e-9);
}

TEST(Forward, NoEvidenceLeavesNothing) {
    Forward f({{{0.4}, kCold}, {{0.5}, kHot}});
    EXPECT_EQ(f.normalise(), 0);
    f.put(kHot, 0.5);
    f.put(kCold, 0.5);
    f.weigh(kHot, 0);
    f.weigh(kCold, std::nan(""));
    EXPECT_GT(f.normalise(), 0);
    EXPECT_NEAR(f.chance(kHot) + f.chance(kCold), 1, 1e-12);
}

TEST(Forward, ACopyGoesItsOwnWay) {
    Forward f({{{0.1, 0.2, 0.3}, 1}, {{0.5, 0.5}, 2}, {{}, 2}});
    f.put(0, 1);
    f.advance();
    Forward g = f;
    for (int t = 0; t < 40; ++t) g.advance();
    EXPECT_NEAR(f.chance(0), 0.9, 1e-12);
    EXPECT_GT(g.chance(2), 0.9);
    for (int t = 0; t < 40; ++t) f.advance();
    EXPECT_EQ(f.chance(2), g.chance(2));
}

TEST(Forward, WhatLeaksIsNotLost) {
    Forward f({{{0.1, 0.2, 0.3}, 1}, {{}, 1}, {{}, 2}});
    f.put(0, 1);
    for (int t = 0; t < 5; ++t) {
        f.advance();
        f.leak(0, 2, 0.1);
        EXPECT_NEAR(f.normalise(), 1, 1e-12);
    }
    EXPECT_GT(f.chance(2), 0.1);
}

}  // namespace
}  // namespace fettle::watch
