// Own normal and Student-t against Boost.Math and a published table; the generator against its published sequence.
#include "fettle/forecast/random.h"

#include <gtest/gtest.h>

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>

#include "fettle/base/test_csv.h"

namespace fettle::forecast {
namespace {

TEST(Random, FollowsThePublishedSequence) {
    // SplitMix64 with seed 1234567, as printed with the reference implementation by Vigna (from memory).
    Random r(1234567);
    EXPECT_EQ(r.next(), 6457827717110365317u);
    EXPECT_EQ(r.next(), 3203168211198807973u);
}

TEST(Random, BelowStaysBelowAndReachesAll) {
    Random r(1);
    std::vector<int> seen(7, 0);
    for (int i = 0; i < 7000; ++i) ++seen.at(r.below(7));
    for (const int n : seen) EXPECT_NEAR(n, 1000, 150);
}

TEST(Normal, AgreesWithBoost) {
    const boost::math::normal n;
    for (const double p : {1e-9, 1e-4, 0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99, 0.9999}) {
        EXPECT_NEAR(normal_quantile(p), boost::math::quantile(n, p), 1e-9 * (1 + std::abs(boost::math::quantile(n, p))))
            << p;
    }
    for (const double z : {-6.0, -1.5, 0.0, 0.3, 2.0, 5.0})
        EXPECT_NEAR(normal_cdf(z), boost::math::cdf(n, z), 1e-14) << z;
}

TEST(Student, AgreesWithBoost) {
    for (const int v : {1, 2, 3, 4, 7, 12, 30, 121}) {
        const boost::math::students_t t(v);
        for (const double p : {0.001, 0.05, 0.3, 0.5, 0.9, 0.99, 0.9999}) {
            const double want = boost::math::quantile(t, p);
            EXPECT_NEAR(student_quantile(p, v), want, 1e-7 * (1 + std::abs(want))) << v << " " << p;
        }
        for (const double x : {-3.0, -0.2, 0.0, 1.0, 8.0})
            EXPECT_NEAR(student_cdf(x, v), boost::math::cdf(t, x), 1e-12);
    }
}

TEST(Student, AgreesWithThePublishedTable) {
    // NIST/SEMATECH e-Handbook 1.3.6.7.2; rows marked "memory", each recomputed there.
    int checked = 0;
    for (const auto& row : read_csv("t-quantiles.csv")) {
        for (const auto& [name, value] : row) {
            if (name.rfind("p0.", 0) != 0 || value.empty()) continue;
            const double want = std::stod(value);
            const std::string& degrees = row.at("degrees_of_freedom");
            if (degrees.find_first_not_of("0123456789") != std::string::npos) continue;  // the row for infinity
            const double p = std::stod(name.substr(1));
            EXPECT_NEAR(student_quantile(p, std::stoi(degrees)), want, 6e-5 * std::max(1.0, want))
                << degrees << " " << name;
            ++checked;
        }
    }
    EXPECT_GT(checked, 100);
}

TEST(Strata, HaveTheNormalsQuantilesAndDifferByOrderOnly) {
    const auto strata = normal_strata(1000);
    Random r(5);
    auto a = stratified_normals(r, strata);
    auto b = stratified_normals(r, strata);
    EXPECT_NE(a, b);
    std::sort(a.begin(), a.end());
    EXPECT_EQ(a, strata);
    EXPECT_NEAR(strata[899], 1.28, 0.01);
}

}  // namespace
}  // namespace fettle::forecast
