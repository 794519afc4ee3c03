// Run lengths against the published table: Montgomery, Introduction to Statistical Quality Control, tabular CUSUM, k
// 0.5, two-sided (from memory; recomputed by an integral equation and agreed to the printed digits); the worked path of
// Montgomery and Runger, Applied Statistics and Probability for Engineers, Example 16-6.
#include "fettle/watch/cusum.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace fettle::watch {
namespace {

// Mean run length over simulated charts. Standard error of n charts with mean L is about L / √n.
double run_length(double shift, double h, int charts, std::uint64_t seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> noise;
    double sum = 0;
    for (int c = 0; c < charts; ++c) {
        Cusum chart(0, 1, 0.5, h);
        int n = 1;
        while (chart.take(noise(random) + shift) == 0) ++n;
        sum += n;
    }
    return sum / charts;
}

TEST(Cusum, RunLengthsAreThePublishedOnes) {
    struct Row {
        double shift, h4, h5;
    };
    const Row table[] = {{0, 168, 465},     {0.25, 74.2, 139}, {0.5, 26.6, 38.0}, {0.75, 13.3, 17.0}, {1, 8.38, 10.4},
                         {1.5, 4.75, 5.75}, {2, 3.34, 4.01},   {2.5, 2.62, 3.11}, {3, 2.19, 2.57},    {4, 1.71, 2.01}};
    for (const Row& r : table) {
        const int charts = r.h5 > 100 ? 3000 : 4000;
        const double error = 3.5 / std::sqrt(charts);  // of the mean, relative, and a little
        EXPECT_NEAR(run_length(r.shift, 4, charts, 11), r.h4, error * r.h4) << r.shift;
        EXPECT_NEAR(run_length(r.shift, 5, charts, 12), r.h5, error * r.h5) << r.shift;
    }
}

// Target 99, K = 1, H = 10, sigma = 2: k = 0.5, h = 5. Both sums after each of the twenty observations, as printed.
TEST(Cusum, FollowsThePublishedPath) {
    const double path[20][3] = {{102.0, 2.0, 0}, {94.8, 0, 3.2},  {98.3, 0, 2.9},  {98.4, 0, 2.5}, {102.0, 2.0, 0},
                                {98.5, 0.5, 0},  {99.0, 0, 0},    {97.7, 0, 0.3},  {100.0, 0, 0},  {98.1, 0, 0},
                                {101.3, 1.3, 0}, {98.7, 0, 0},    {101.1, 1.1, 0}, {98.4, 0, 0},   {97.0, 0, 1.0},
                                {96.7, 0, 2.3},  {100.3, 0.3, 0}, {101.4, 1.7, 0}, {97.2, 0, 0.8}, {101.0, 1.0, 0}};
    Cusum c(99, 2, 0.5, 5);
    for (const auto& [x, upper, lower] : path) {
        EXPECT_EQ(c.take(x), 0) << x;
        EXPECT_NEAR(c.upper() * 2, upper, 1e-9) << x;
        EXPECT_NEAR(c.lower() * 2, lower, 1e-9) << x;
    }
}

// NIST/SEMATECH e-Handbook 6.3.2.3.1 prints the same figures from shift 0.25 on. The lower side is the upper mirrored.
TEST(Cusum, FallingIsRisingMirrored) {
    Cusum up(0, 1), down(0, 1);
    std::mt19937_64 random(3);
    std::normal_distribution<double> noise;
    for (int i = 0; i < 500; ++i) {
        const double x = noise(random);
        EXPECT_EQ(up.take(x), -down.take(-x));
        EXPECT_EQ(up.upper(), down.lower());
    }
}

TEST(Cusum, WhatIsNoNumberChangesNothing) {
    Cusum c(1, 0.1);
    c.take(1.2);
    const double before = c.upper();
    EXPECT_EQ(c.take(std::nan("")), 0);
    EXPECT_EQ(c.take(INFINITY), 0);
    EXPECT_EQ(c.upper(), before);
}

std::vector<ChangePoint> steps_of(const std::vector<double>& series) {
    LevelSteps levels(0.05);
    std::vector<ChangePoint> out;
    for (std::size_t t = 0; t < series.size(); ++t) {
        if (const auto step = levels.take(static_cast<double>(t), series[t])) out.push_back(*step);
    }
    return out;
}

TEST(LevelSteps, AreFoundWhereTheLevelMoves) {
    std::mt19937_64 random(5);
    std::normal_distribution<double> noise(0, 0.1);
    std::vector<double> series;
    for (int t = 0; t < 400; ++t) series.push_back((t < 150 ? 2.2 : t < 200 ? 0.8 : 2.3) + noise(random));
    const auto found = steps_of(series);
    ASSERT_GE(found.size(), 2u);
    EXPECT_LE(found.size(), 3u);  // one false alarm in 465 readings is what h = 5 allows
    EXPECT_NEAR(found[0].at_s, 150, 3);
    EXPECT_NEAR(found[0].before, 2.2, 0.15);
    EXPECT_NEAR(found[0].after, 0.8, 0.15);
    EXPECT_NEAR(found[1].at_s, 200, 3);
}

TEST(LevelSteps, NeedEnoughReadings) {
    EXPECT_TRUE(steps_of({}).empty());
    EXPECT_TRUE(steps_of({1, 9}).empty());
    EXPECT_TRUE(steps_of({1, 1, 1, 1, 1, 1, 1, 1, 9, 9, 9, 9, 9, 9, 9}).empty());  // the new level: seven readings
    EXPECT_EQ(steps_of({1, 1, 1, 1, 1, 1, 1, 1, 9, 9, 9, 9, 9, 9, 9, 9}).size(), 1u);
}

}  // namespace
}  // namespace fettle::watch
