#include "fettle/watch/worry.h"

#include <gtest/gtest.h>

namespace fettle::watch {
namespace {

family::Stuck figures() {
    family::Stuck s;
    s.prior = 0.01;
    s.low_when_stuck = 0.7;
    s.low_when_good = 0.05;
    s.source = "measured 60";
    return s;
}

// Story 39, by hand: odds 1/99, × 1/0.02 = 0.505; × 0.7/0.05 = 7.07; × 0.7/0.5 = 0.707.
TEST(Worry, IsARangeFromDependentToIndependent) {
    const WorryPart silent{"silent for 4 min", 0.02, 1, "measured 60"};
    Worry w = worry_of(figures(), silent, true);
    EXPECT_NEAR(w.low(), 0.3356, 1e-4);
    EXPECT_NEAR(w.high(), 0.8761, 1e-4);
    EXPECT_FALSE(w.joint);
    family::Stuck f = figures();
    f.low_when_good_and_silent = 0.5;
    w = worry_of(f, silent, true);
    ASSERT_TRUE(w.joint);
    EXPECT_NEAR(*w.joint, 0.4142, 1e-4);
    EXPECT_EQ(worry_words(w),
              "stuck: between 34 and 88 in 100, by the joint figure 41 (1 in 100 stuck to begin with (measured 60); "
              "silent for 4 min: 2 in 100 good, all stuck runs (measured 60); current flat and low: 5 in 100 good, 70 "
              "in 100 stuck runs (measured 60))");
}

TEST(Worry, CurrentThatWasNotMeasuredIsNoEvidence) {
    const WorryPart silent{"silent", 0.02, 1, "x"};
    const Worry w = worry_of(figures(), silent, std::nullopt);
    EXPECT_EQ(w.low(), w.high());
    EXPECT_EQ(w.parts.size(), 1u);
}

TEST(Worry, CurrentAsItShouldBeLessensIt) {
    const WorryPart silent{"silent", 0.02, 1, "x"};
    const Worry w = worry_of(figures(), silent, false);
    EXPECT_LT(w.low(), worry_of(figures(), silent, std::nullopt).low());
}

TEST(Worry, WithoutFiguresThePriorIsAGuessAndSaysSo) {
    const Worry w = worry_of(std::nullopt, std::nullopt, std::nullopt);
    EXPECT_EQ(w.prior_rests_on, "guess");
    EXPECT_NEAR(w.low(), 0.01, 1e-12);
}

TEST(Worry, ChancesArePlainCounts) {
    EXPECT_EQ(chance_words(0.876), "88 in 100");
    EXPECT_EQ(chance_words(0.001), "fewer than 1 in 100");
    EXPECT_EQ(chance_words(0.9999), "more than 99 in 100");
}

}  // namespace
}  // namespace fettle::watch
