#include "fettle/rehearse/home_clock.h"

#include <gtest/gtest.h>
#include <stdlib.h>

#include <chrono>
#include <fstream>
#include <thread>

namespace fettle::rehearse {
namespace {

namespace fs = std::filesystem;

class HomeClockTest : public ::testing::Test {
protected:
    HomeClockTest() {
        std::string pattern = (fs::temp_directory_path() / "fettle-clock-XXXXXX").string();
        home_ = ::mkdtemp(pattern.data());
    }
    ~HomeClockTest() override { fs::remove_all(home_); }
    fs::path home_;
};

TEST_F(HomeClockTest, AHomeOfNoRehearsalHasNone) {
    EXPECT_EQ(home_clock(home_), nullptr);
}

TEST_F(HomeClockTest, RunsAtTheSpeedOfTheRehearsalAndNoFurther) {
    constexpr UnixMs start = 1'700'000'000'000;
    tell_time(home_, start, start + 50'000, 1e6);
    const auto clock = home_clock(home_);
    ASSERT_NE(clock, nullptr);
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
    EXPECT_EQ(clock->now(), start + 50'000);
    tell_time(home_, start, start, 0);  // a rehearsal that goes back in time does not take the others with it
    EXPECT_EQ(clock->now(), start + 50'000);
    tell_time(home_, start + 60'000, start + 60'000, 0);
    EXPECT_EQ(clock->now(), start + 60'000);
}

TEST_F(HomeClockTest, AFileThatIsNoneLeavesTheTimeStanding) {
    tell_time(home_, 5000, 5000, 0);
    const auto clock = home_clock(home_);
    EXPECT_EQ(clock->now(), 5000);
    std::ofstream(home_ / "rehearsal-clock.json") << "{\"virtual_ms\": 1e99, ";
    EXPECT_EQ(clock->now(), 5000);
    std::ofstream(home_ / "rehearsal-clock.json") << "[]";
    EXPECT_EQ(clock->now(), 5000);
}

}  // namespace
}  // namespace fettle::rehearse
