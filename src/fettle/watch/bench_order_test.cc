#include "fettle/watch/bench_order.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <set>

namespace fettle::watch {
namespace {

Spread exactly(double minutes) {
    return {60 * minutes, 30, {1.0}};
}

std::vector<BenchJob> of_minutes(const std::vector<double>& minutes) {
    std::vector<BenchJob> out;
    for (const double m : minutes) out.push_back({std::to_string(out.size()), exactly(m), {}});
    return out;
}

// Makespan on identical machines: 41, 33, 29, 26, 20 and 17 min on two take 84, since no subset makes 83 (half of all).
TEST(BenchOrder, SixJobsOnTwoBenches) {
    const BenchOrder o = bench_order(of_minutes({41, 33, 29, 26, 20, 17}), 2, 0.9);
    EXPECT_TRUE(o.exact);
    EXPECT_EQ(o.end_s, 84 * 60);
    std::set<std::size_t> jobs;
    double full[2] = {0, 0};
    for (const BenchSlot& s : o.slots) {
        EXPECT_TRUE(jobs.insert(s.job).second);
        EXPECT_EQ(s.start.quantile(0.5), full[s.bench]);
        full[s.bench] = s.end.quantile(0.5);
    }
    EXPECT_EQ(jobs.size(), 6u);
    EXPECT_EQ(std::max(full[0], full[1]), 84 * 60);
}

// Against every assignment, tried one by one.
TEST(BenchOrder, NoDivisionEndsEarlier) {
    std::mt19937 random(7);
    for (int round = 0; round < 40; ++round) {
        const std::size_t n = 1 + random() % 7, benches = 1 + random() % 3;
        std::vector<double> minutes;
        for (std::size_t i = 0; i < n; ++i) minutes.push_back(static_cast<double>(10 + random() % 50));
        double least = 1e9;
        std::size_t all = 1;
        for (std::size_t i = 0; i < n; ++i) all *= benches;
        for (std::size_t code = 0; code < all; ++code) {
            std::vector<double> full(benches, 0.0);
            for (std::size_t i = 0, c = code; i < n; ++i, c /= benches) full[c % benches] += minutes[i];
            least = std::min(least, *std::max_element(full.begin(), full.end()));
        }
        EXPECT_EQ(bench_order(of_minutes(minutes), benches, 0.8).end_s, 60 * least);
    }
}

// Two benches, a job of 20 or 40 min on each, both equally likely: done by 20 in 1 of 4, and by 40 for certain.
TEST(BenchOrder, TheEndIsThatOfAllBenchesTogether) {
    Spread either{1200, 1200, {0.5, 0.5}};
    const std::vector<BenchJob> two{{"a", either, {}}, {"b", either, {}}};
    EXPECT_EQ(bench_order(two, 2, 0.25).end_s, 1200);
    EXPECT_EQ(bench_order(two, 2, 0.26).end_s, 2400);
    // On one bench: 40, 60 or 80 min in 1, 2 and 1 of 4.
    EXPECT_EQ(bench_order(two, 1, 0.25).end_s, 2400);
    EXPECT_EQ(bench_order(two, 1, 0.75).end_s, 3600);
    EXPECT_EQ(bench_order(two, 1, 1).end_s, 4800);
}

// Longest first is no more than 4/3 - 1/(3m) over the best on m machines: R. L. Graham, Bounds on multiprocessing
// timing anomalies, SIAM J. Appl. Math. 17 (1969), from memory. The best is no less than the mean load.
TEST(BenchOrder, MoreJobsThanAreLookedAtGoLongestFirst) {
    std::vector<double> minutes;
    for (int i = 0; i < 23; ++i) minutes.push_back(11 + (i * 17) % 40);
    double all = 0;
    for (const double m : minutes) all += m;
    const BenchOrder o = bench_order(of_minutes(minutes), 3, 0.9);
    EXPECT_FALSE(o.exact);
    EXPECT_EQ(o.slots.size(), 23u);
    EXPECT_GE(o.end_s, 60 * all / 3);
    EXPECT_LE(o.end_s, 60 * all / 3 * (4.0 / 3 - 1.0 / 9));
}

// One pair of hands: of ends that are equal, the order in which nobody has to wait.
TEST(BenchOrder, AmongEqualEndsTheHandsAreFree) {
    const auto job = [](const char* name, double asks_at) {
        return BenchJob{name, exactly(30), {{"", "asks", Spread{60 * asks_at, 30, {1.0}}, 180}}};
    };
    // Side by side "early" and "late" ask at other times; two early ones at once.
    const BenchOrder o =
        bench_order({job("early 1", 5), job("early 2", 5), job("late 1", 20), job("late 2", 20)}, 2, 0.9);
    EXPECT_EQ(o.end_s, 3600);
    EXPECT_TRUE(o.clashes.empty());
    EXPECT_EQ(o.asks.size(), 4u);
    const BenchOrder both = bench_order({job("a", 5), job("b", 5)}, 2, 0.9);
    ASSERT_EQ(both.clashes.size(), 1u);
    EXPECT_EQ(both.clashes[0].p, 1);
}

TEST(BenchOrder, NothingToOrder) {
    EXPECT_TRUE(bench_order({}, 2, 0.9).slots.empty());
    EXPECT_TRUE(bench_order(of_minutes({10}), 0, 0.9).slots.empty());
    EXPECT_EQ(bench_order(of_minutes({10}), 5, 0.9).end_s, 600);
}

}  // namespace
}  // namespace fettle::watch
