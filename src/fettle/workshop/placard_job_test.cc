#include "fettle/workshop/placard_job.h"

#include <gtest/gtest.h>
#include <stdlib.h>

#include <ctime>

#include "fettle/base/files.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

// A bench whose clock is six hours ahead (POSIX.1-2017, TZ: "EET-6" lies east), so that wall and universal time differ.
class PlacardJob : public ::testing::Test {
protected:
    PlacardJob() {
        ::setenv("TZ", "EET-6", 1);
        ::tzset();
    }
    ~PlacardJob() override {
        ::unsetenv("TZ");
        ::tzset();
    }
    TestJob t_;
};

TEST_F(PlacardJob, BeforeTheStartItsTimesAreDurations) {
    const PlacardFor p = must(placard_of(t_.shop, {t_.number, "N. Tern"}));
    EXPECT_FALSE(p.run_open);
    EXPECT_EQ(p.facts.begun, "");
    EXPECT_EQ(p.facts.done_late, human_duration(t_.step().forecast.total.p90_s) + " after the start");
    EXPECT_EQ(p.facts.place, "bench");
    EXPECT_EQ(p.facts.release, "27.3.118");
    EXPECT_EQ(p.facts.ask_for, "N. Tern");
    EXPECT_FALSE(p.facts.keep.empty());
    EXPECT_EQ(t_.entries_of("ready"), 0u);  // it only looks
}

// 1 700 000 000 s is 2023-11-14 22:13:20 UTC (`date -u -d @1700000000`): 04:13 on the wall here.
TEST_F(PlacardJob, WhileItRunsItsTimesAreThoseOfTheWallAndAnEndIsNeverTooEarly) {
    t_.run("");
    const PlacardFor p = must(placard_of(t_.shop, {t_.number, ""}));
    EXPECT_TRUE(p.run_open);
    EXPECT_EQ(p.facts.begun, "04:13");
    const double late_s = 20 + t_.step().forecast.total.p90_s;  // after 04:13:00
    const int minutes = static_cast<int>((late_s + 59.999) / 60);
    const int at = 4 * 60 + 13 + minutes;
    char wall[8];
    std::snprintf(wall, sizeof wall, "%02d:%02d", at / 60 % 24, at % 60);
    EXPECT_EQ(p.facts.done_late, wall);
    for (const std::string& h : p.facts.hands) EXPECT_EQ(h.find("after the start"), std::string::npos) << h;
}

TEST_F(PlacardJob, TheWorkshopsNameIsTheFirstLineOfItsFile) {
    must(write_file_durably(t_.shop.home / "workshop.txt", "Harbour Radio\nsecond line\n"));
    EXPECT_EQ(must(placard_of(t_.shop, {t_.number, ""})).facts.workshop, "Harbour Radio");
}

TEST_F(PlacardJob, NeedsAStepOfAPlan) {
    EXPECT_EQ(placard_of(t_.shop, {t_.number, "", 2}).error().code, "step-not-planned");
    t_.run();
    EXPECT_EQ(placard_of(t_.shop, {t_.number, ""}).error().code, "all-steps-done");
}

}  // namespace
}  // namespace fettle::workshop
