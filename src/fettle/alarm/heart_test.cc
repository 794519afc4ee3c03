// The heartbeat file: what one process writes and another reads, and what a killed one leaves.
#include "fettle/alarm/heart.h"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include "fettle/alarm/temp_folder_test_help.h"

namespace fettle::alarm {
namespace {

TEST(Heart, IsReadAsItBeats) {
    TempFolder t;
    EXPECT_FALSE(read_heart(t.path / "beats", "J1").count);
    Heart heart(t.path / "beats", "J1");
    for (long n = 1; n <= 12; ++n) {
        heart.beat();
        EXPECT_EQ(read_heart(t.path / "beats", "J1").count, n);
    }
    EXPECT_FALSE(read_heart(t.path / "beats", "J2").count);  // of another job
    EXPECT_FALSE(read_heart(t.path / "beats", "J1").stopped);
    heart.stop();
    EXPECT_TRUE(read_heart(t.path / "beats", "J1").stopped);
    EXPECT_FALSE(read_heart(t.path / "beats", "J1").count);
}

// Killed while it writes as fast as it can: a whole count stands there, nobody is told that it stopped, whoever listens
// is alarmed, and a watch that is begun again goes on from that count.
TEST(Heart, AKilledOneIsMissed) {
    TempFolder t;
    const pid_t child = ::fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
        Heart heart(t.path, "J1");
        while (true) heart.beat();
    }
    ASSERT_TRUE(comes([&] { return read_heart(t.path, "J1").count.value_or(0) > 1000; }));
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
    const HeartRead left = read_heart(t.path, "J1");
    ASSERT_TRUE(left.count);
    EXPECT_FALSE(left.stopped);
    Listener listener(10);
    EXPECT_FALSE(listener.hear(left.count, 0));
    EXPECT_FALSE(listener.hear(read_heart(t.path, "J1").count, 9.9));
    EXPECT_TRUE(listener.hear(read_heart(t.path, "J1").count, 10.1));
    Heart again(t.path, "J1");
    again.beat();
    EXPECT_EQ(read_heart(t.path, "J1").count, *left.count + 1);
    EXPECT_FALSE(listener.hear(read_heart(t.path, "J1").count, 12));
}

TEST(Heart, WhatIsNoCountIsNone) {
    TempFolder t;
    for (const char* text : {"", "\n", "12x\n", "x12\n", "1 2\n", "99999999999999999999999\n"}) {
        std::ofstream(t.path / "J1") << text;
        EXPECT_FALSE(read_heart(t.path, "J1").count) << text;
    }
}

// A folder that cannot be made: no heart, no harm.
TEST(Heart, WithoutAFolderNothingIsHeard) {
    TempFolder t;
    std::ofstream(t.path / "file") << "in the way";
    Heart heart(t.path / "file" / "beats", "J1");
    heart.beat();
    heart.stop();
    EXPECT_FALSE(read_heart(t.path / "file" / "beats", "J1").count);
}

// A listener alarms itself when it hears nothing: also when it never heard anything, and not because clocks differ.
TEST(Listener, AlarmsWhenTheBeatStops) {
    Listener l(10);
    for (long s = 0; s < 30; ++s) EXPECT_FALSE(l.hear(s, 100 + double(s)));
    EXPECT_FALSE(l.hear(29, 138));
    EXPECT_TRUE(l.hear(29, 139));
    EXPECT_TRUE(l.hear(std::nullopt, 150));
    EXPECT_FALSE(l.hear(3, 151));  // a watch that was started again counts from the beginning
    Listener never(10);
    EXPECT_FALSE(never.hear(std::nullopt, 5));
    EXPECT_TRUE(never.hear(std::nullopt, 15));
}

}  // namespace
}  // namespace fettle::alarm
