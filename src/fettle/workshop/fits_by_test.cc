#include "fettle/workshop/fits_by.h"

#include <gtest/gtest.h>

#include <cmath>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

TEST(FitsBy, TheChanceIsThatOfTheForecastWithItsSettling) {
    const TestJob t;
    const auto& total = t.step().forecast.total;
    const double settle_s = t.planned.unit.family->settle_s;
    const auto p = [&](double s) { return fits_by(*t.planned.plan, *t.planned.unit.family, s).at(0).p.value(); };
    EXPECT_NEAR(p(total.p50_s + settle_s), 0.5, 0.02);
    EXPECT_NEAR(p(total.p90_s + settle_s), 0.9, 0.02);
    EXPECT_EQ(p(60), 0);
    EXPECT_EQ(p(86'400), 1);
}

TEST(FitsBy, ATimeOfDayIsTheNextOne) {
    const UnixMs now = *parse_iso8601("2026-11-25T09:03:00+00:00");
    EXPECT_EQ(*time_ahead("2026-11-25T16:00:00+00:00", now) - now, (6 * 60 + 57) * 60'000);
    const auto ahead = time_ahead("16:00", now);
    ASSERT_TRUE(ahead);
    EXPECT_GT(*ahead, now);
    EXPECT_LE(*ahead - now, 25 * 3'600'000);
    for (const char* bad :
         {"", "16", "25:00", "16:60", "16:5", "soon", "2026-11-25T08:00:00+00:00", "2030-01-01T00:00:00Z"})
        EXPECT_FALSE(time_ahead(bad, now)) << bad;
}

}  // namespace
}  // namespace fettle::workshop
