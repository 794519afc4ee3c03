#include "fettle/alarm/awake.h"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include "fettle/alarm/temp_folder_test_help.h"

namespace fettle::alarm {
namespace {

// The real one starts the command that it is given and holds the lock for as long as that runs.
constexpr const char* kHolder = "echo $$ > \"$HERE/holder\"; shift 3; exec /bin/\"$@\"";

pid_t holder(const TempFolder& t) {
    return static_cast<pid_t>(std::atol(t.read("holder").c_str()));
}
bool lives(pid_t pid) {
    return ::kill(pid, 0) == 0;
}

TEST(StayAwake, WithoutTheServiceItSaysSo) {
    TempFolder t;
    Environment e;
    e.set("PATH", t.path.c_str());
    StayAwake awake;
    EXPECT_FALSE(awake.held());
}

TEST(StayAwake, HoldsForAsLongAsItLives) {
    TempFolder t;
    t.program("systemd-inhibit", kHolder);
    Environment e;
    e.set("PATH", t.path.c_str());
    {
        StayAwake awake;
        ASSERT_TRUE(comes([&] { return holder(t) > 0; }));
        EXPECT_TRUE(awake.held());
    }
    EXPECT_FALSE(lives(holder(t)));
}

TEST(StayAwake, SaysWhenTheLockWasLost) {
    TempFolder t;
    t.program("systemd-inhibit", "exit 1");
    Environment e;
    e.set("PATH", t.path.c_str());
    StayAwake awake;
    EXPECT_TRUE(comes([&] { return !awake.held(); }));
}

// A watch that is killed has no time to let go: the holder's standing input ends, and with it the lock.
TEST(StayAwake, LetsGoWhenItsProgramIsKilled) {
    TempFolder t;
    t.program("systemd-inhibit", kHolder);
    Environment e;
    e.set("PATH", t.path.c_str());
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
        StayAwake awake;
        while (true) ::pause();
    }
    ASSERT_TRUE(comes([&] { return holder(t) > 0; }));
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
    // Nobody may be there to take its exit: dead, or waiting to be taken.
    EXPECT_TRUE(comes([&] {
        std::ifstream stat("/proc/" + std::to_string(holder(t)) + "/stat");
        std::string id, name, state;
        return !(stat >> id >> name >> state) || state == "Z";
    }));
}

// A laptop that sleeps for half an hour: its counting clock stands still, the clock of the day does not.
TEST(ClockJumps, ASleepAndASetClockAreToldOnce) {
    ClockJumps c(1'000'000, 50);
    EXPECT_EQ(c.jumped(1'001'000, 51), 0);
    EXPECT_EQ(c.jumped(1'006'000, 51.5), 0);  // a machine under load
    EXPECT_NEAR(c.jumped(2'807'000, 52.5), 1800, 1e-6);
    EXPECT_EQ(c.jumped(2'808'000, 53.5), 0);
    EXPECT_NEAR(c.jumped(-792'000, 53.5), -3600, 1e-6);
    EXPECT_EQ(c.jumped(-791'000, 54.5), 0);
}

}  // namespace
}  // namespace fettle::alarm
