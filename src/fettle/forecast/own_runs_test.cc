#include "fettle/forecast/own_runs.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace fettle::forecast {
namespace {

TEST(NormalInverseGamma, WorkedExample) {
    // Formulas: Murphy 2007, "Conjugate Bayesian analysis of the Gaussian distribution"; figures derived from them.
    NormalInverseGamma prior;
    prior.m = 10;
    prior.k = 1;
    prior.a = 2;
    prior.b = 2;
    const auto p = prior.after({10, 12, 9, 11, 13});
    EXPECT_NEAR(p.m, 10.8333333, 1e-7);
    EXPECT_NEAR(p.a, 4.5, 1e-12);
    EXPECT_NEAR(p.b, 7.4166667, 1e-7);
    EXPECT_EQ(p.degrees(), 9);
    EXPECT_NEAR(p.scale(), 1.3866649, 1e-7);
    const boost::math::students_t t(9);
    EXPECT_NEAR(p.m + p.scale() * boost::math::quantile(t, 0.9), 12.751131, 1e-6);
}

TEST(NormalInverseGamma, OneAtATimeGivesTheSame) {
    NormalInverseGamma step;
    for (const double v : {3.1, 2.9, 3.4, 3.0}) step = step.after({v});
    const auto all = NormalInverseGamma{}.after({3.1, 2.9, 3.4, 3.0});
    EXPECT_NEAR(step.m, all.m, 1e-12);
    EXPECT_NEAR(step.b, all.b, 1e-12);
    EXPECT_NEAR(step.k, all.k, 1e-12);
}

TEST(Prior, KeepsTheModelsMedianAndNinetyPercentPoint) {
    const Quantiles model{800, 1000, 1300, 1500};
    const auto p = prior_from(model);
    EXPECT_EQ(p.degrees(), 3);
    const boost::math::students_t t(3);
    EXPECT_NEAR(std::exp(p.m), 1000, 1e-6);
    EXPECT_NEAR(std::exp(p.m + p.scale() * boost::math::quantile(t, 0.9)), 1300, 1e-3);
}

TEST(Predictive, KeepsRanksAndFollowsTheStudentT) {
    std::vector<double> totals;
    for (int i = 0; i < 1001; ++i) totals.push_back(500.0 + (i * 37) % 1001);
    const std::vector<PastRun> runs{{1500}, {1450}, {1600}, {1550}};
    const Quantiles model{800, 1000, 1300, 1500};
    const auto out = predictive(model, runs, totals);
    for (std::size_t i = 1; i < totals.size(); ++i) EXPECT_EQ(totals[i] < totals[0], out[i] < out[0]);
    auto sorted = out;
    std::sort(sorted.begin(), sorted.end());
    const auto p = prior_from(model).after({std::log(1500.0), std::log(1450.0), std::log(1600.0), std::log(1550.0)});
    EXPECT_NEAR(sorted[500], std::exp(p.m), 1e-6 * sorted[500]);
    const boost::math::students_t t(p.degrees());
    EXPECT_NEAR(sorted[900], std::exp(p.m + p.scale() * boost::math::quantile(t, 900.5 / 1001)), 1e-4 * sorted[900]);
}

const Quantiles model{800, 1000, 1300, 1500};

// The 90 % point of the next run, as that of the 91st of 101.
double ninety(const std::vector<PastRun>& runs) {
    std::vector<double> totals(101);
    for (std::size_t i = 0; i < totals.size(); ++i) totals[i] = 500 + static_cast<double>(i);
    return predictive(model, runs, totals)[90];
}

std::vector<double> logs_of(const std::vector<PastRun>& runs) {
    std::vector<double> out;
    for (const PastRun& r : runs) out.push_back(std::log(r.seconds));
    return out;
}

// The wish itself: one run of 0 s or 15 h among n moves the nine-in-ten point by no more than one extreme honest run
// would; honest: within the range of 10,000 runs of what was predicted before it (Student's t of the own runs).
TEST(Predictive, OneAbsurdRunSaysNoMoreThanOneExtremeHonestOne) {
    std::vector<PastRun> runs;
    for (int n = 0; n <= 30; ++n) {
        if (n < 6 || n % 8 == 0) {
            const double before = ninety(runs);
            const auto p = prior_from(model).after(logs_of(runs));
            const double reach = p.scale() * boost::math::quantile(boost::math::students_t(p.degrees()), 0.9999);
            double honest = 0;
            for (int k = -20; k <= 20; ++k) {
                auto with = runs;
                with.push_back({std::exp(p.m + reach * k / 20)});
                honest = std::max(honest, std::abs(ninety(with) - before));
            }
            for (const double absurd : {0.001, 0.5, 54'000.0, 2'000'000.0}) {
                auto with = runs;
                with.push_back({absurd});
                EXPECT_LE(std::abs(ninety(with) - before), 1.02 * honest)
                    << n << " runs, and one of " << absurd << " s";
            }
        }
        runs.push_back({1000 + 40.0 * ((n * 7) % 11 - 5)});
    }
}

TEST(Predictive, RunsThatAreAllSlowerOrQuickerAreBelieved) {
    for (const double seconds : {2500.0, 400.0}) {
        const std::vector<double> logs = logs_of(std::vector<PastRun>(8, {seconds}));
        EXPECT_EQ(pulled_in(prior_from(model), logs), logs);
    }
}

}  // namespace
}  // namespace fettle::forecast
