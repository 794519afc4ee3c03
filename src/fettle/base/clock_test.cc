#include "fettle/base/clock.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace fettle {
namespace {

TEST(Clock, KnownInstants) {
    EXPECT_EQ(iso8601(0), "1970-01-01T00:00:00.000+00:00");
    EXPECT_EQ(iso8601(951782399999), "2000-02-28T23:59:59.999+00:00");   // date -u -d @951782399
    EXPECT_EQ(iso8601(1764061380000), "2025-11-25T09:03:00.000+00:00");  // date -u -d @1764061380
    EXPECT_EQ(parse_iso8601("2025-11-25T10:33:00+01:30"), 1764061380000);
    EXPECT_EQ(parse_iso8601("2025-11-25T09:03:00Z"), 1764061380000);
}

RC_GTEST_PROP(Clock, WrittenIsRead, ()) {
    const auto t = *rc::gen::inRange<UnixMs>(0, 4102444800000);  // to the year 2100
    RC_ASSERT(parse_iso8601(iso8601(t)) == t);
}

TEST(Clock, TextsThatAreNoTime) {
    for (const char* bad : {"", "2025-11-25", "2025-13-01T00:00:00Z", "2025-02-29T00:00:00Z", "2025-11-25T24:00:00Z",
                            "2025-11-25T09:03:00", "2025-11-25T09:03:00+1:00", "2025-11-25T09:03:00.5Z",
                            "2025-11-25T09:03:00Z and more", "yesterday"})
        EXPECT_EQ(parse_iso8601(bad), std::nullopt) << bad;
}

TEST(Clock, ForPeople) {
    EXPECT_EQ(human_duration(45.4), "45 s");
    EXPECT_EQ(human_duration(119), "119 s");
    EXPECT_EQ(human_duration(24 * 60), "24 min");
    EXPECT_EQ(human_duration(59.6 * 60), "1 h 00 min");
    EXPECT_EQ(human_duration(65 * 60), "1 h 05 min");
}

TEST(Clock, ManualMovesByHand) {
    ManualClock clock(1000);
    clock.advance_ms(500);
    EXPECT_EQ(clock.now(), 1500);
    clock.set(7);
    EXPECT_EQ(clock.now(), 7);
    EXPECT_GT(SystemClock().now(), 1764061380000);
}

}  // namespace
}  // namespace fettle
