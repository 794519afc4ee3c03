#include "fettle/base/clock.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/base/verdict.h"

namespace fettle {
namespace {

// RFC 3339 section 5.8 has 1985-04-12T23:20:50.52Z; 1,000,000,000 s after the epoch is 2001-09-09T01:46:40Z (widely
// printed).
TEST(Clock, IsoTextOfKnownInstants) {
    EXPECT_EQ(iso8601(0), "1970-01-01T00:00:00.000+00:00");
    EXPECT_EQ(iso8601(1'000'000'000'000), "2001-09-09T01:46:40.000+00:00");
    EXPECT_EQ(parse_iso8601("1985-04-12T23:20:50.520Z"), 482196050520);
    EXPECT_EQ(parse_iso8601("1985-04-12T23:20:50Z"), 482196050000);
    EXPECT_EQ(parse_iso8601("2024-02-29T12:00:00.000+01:00"), 1709204400000);
}

TEST(Clock, RefusesWhatIsNoInstant) {
    for (const char* s :
         {"", "2026", "2026-02-29T00:00:00Z", "2026-13-01T00:00:00Z", "2026-01-01T24:00:00Z", "2026-01-01T00:60:00Z",
          "2026-01-01T00:00:00", "2026-01-01T00:00:00Zx", "2026-01-01T00:00:00.00xZ"})
        EXPECT_EQ(parse_iso8601(s), std::nullopt) << s;
}

RC_GTEST_PROP(Clock, IsoTextGoesThereAndBack, ()) {
    const auto t = *rc::gen::inRange<std::int64_t>(0, 253402300800000);  // up to the year 9999
    RC_ASSERT(parse_iso8601(iso8601(t)) == t);
}

TEST(Clock, DurationsForPeople) {
    EXPECT_EQ(human_duration(45), "45 s");
    EXPECT_EQ(human_duration(119), "119 s");
    EXPECT_EQ(human_duration(120), "2 min");
    EXPECT_EQ(human_duration(24 * 60), "24 min");
    EXPECT_EQ(human_duration(65 * 60), "1 h 05 min");
}

TEST(Clock, ManualClockMovesByHand) {
    ManualClock c(1000);
    c.advance_ms(500);
    EXPECT_EQ(c.now(), 1500);
    c.set(7);
    EXPECT_EQ(c.now(), 7);
}

TEST(Verdict, AWholeIsAsBadAsItsWorstPart) {
    Judgement j;
    EXPECT_EQ(j.verdict(), Verdict::fit);
    j.add({"a", Verdict::mind, "", "", "family file"});
    EXPECT_EQ(j.verdict(), Verdict::mind);
    j.add({"b", Verdict::cant_say, "", "", "family file"});
    Judgement worse_one;
    worse_one.add({"c", Verdict::halt, "", "", "family file"});
    j.add(worse_one);
    EXPECT_EQ(j.verdict(), Verdict::halt);
    EXPECT_EQ(j.reasons.size(), 3u);
}

TEST(Verdict, AGuessIsNeverFit) {
    Judgement j;
    j.add({"a", Verdict::fit, "", "", "guess"});
    EXPECT_EQ(j.verdict(), Verdict::mind);
}

}  // namespace
}  // namespace fettle
