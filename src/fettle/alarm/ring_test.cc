// Which means are tried for which call, in what order, and what is said of those that are missing. The programs are
// stand-ins that write down how they were called.
#include "fettle/alarm/ring.h"

#include <gtest/gtest.h>

#include "fettle/alarm/temp_folder_test_help.h"

namespace fettle::alarm {
namespace {

using Names = std::vector<std::string>;

// In one write: two that are called at once must not come in between each other.
constexpr const char* kWritesDown =
    "s=; for a in \"$0\" \"$@\"; do s=\"$s$a|\"; done; printf '%s' \"$s\" >> \"$HERE/said\"";

Means all_but_bell(std::string hook = "") {  // a test may have a terminal or none
    return {false, true, true, std::move(hook)};
}

class RingTest : public testing::Test {
protected:
    RingTest() {
        environment_.set("PATH", folder_.path.c_str());
        environment_.set("DISPLAY", ":0");
        environment_.set("WAYLAND_DISPLAY", nullptr);
    }
    void has(const char* program) { folder_.program(program, kWritesDown); }
    bool all_done(Ringer& ringer) {
        return comes([&] {
            ringer.tidy();
            return ringer.under_way() == 0;
        });
    }
    TempFolder folder_;
    Environment environment_;
};

TEST_F(RingTest, WhatIsMissingIsNamed) {
    Ringer ringer(all_but_bell());
    EXPECT_EQ(ringer.ring("J1", {"test", 0, true, "Go."}).failed, (Names{"notice", "spoken"}));
    has("notify-send");
    environment_.set("DISPLAY", nullptr);  // a program that can reach no desktop is none
    const Rung rung = ringer.ring("J1", {"test", 0, true, "Go."});
    EXPECT_EQ(rung.failed, (Names{"notice", "spoken"}));
    EXPECT_TRUE(rung.by.empty());
}

TEST_F(RingTest, AQuietCallNeitherSpeaksNorRunsTheHook) {
    has("notify-send");
    has("spd-say");
    Ringer ringer(all_but_bell("echo hook >> " + (folder_.path / "said").string()));
    const Rung rung = ringer.ring("J1", {"hands:asks", 0, false, "Go to the box."});
    EXPECT_EQ(rung.by, (Names{"notice"}));
    EXPECT_TRUE(rung.failed.empty());
    ASSERT_TRUE(all_done(ringer));
    EXPECT_EQ(folder_.read("said"),
              (folder_.path / "notify-send").string() + "|--urgency=critical|--|Job J1|Go to the box.|");
}

TEST_F(RingTest, ALoudOneClimbsFromTheNoticeToTheHook) {
    has("notify-send");
    has("espeak-ng");  // in the place of spd-say
    Ringer ringer(all_but_bell("echo \"$FETTLE_JOB $FETTLE_CALL $FETTLE_RUNG $FETTLE_WORDS\" >> " +
                               (folder_.path / "hook").string()));
    const Rung rung = ringer.ring("J1", {"hands:asks", 2, true, "Hands are needed now."});
    EXPECT_EQ(rung.by, (Names{"notice", "spoken", "hook"}));
    ASSERT_TRUE(all_done(ringer));
    EXPECT_NE(folder_.read("said").find("espeak-ng|--|Hands are needed now.|"), std::string::npos);
    EXPECT_EQ(folder_.read("hook"), "J1 hands:asks 2 Hands are needed now.\n");
}

// Words come from a journal and a family file: they reach no shell, and no terminal's control codes.
TEST_F(RingTest, WordsStayWords) {
    has("spd-say");
    Ringer ringer({false, false, true, ""});
    ringer.ring("J1", {"test", 0, true, "$(touch " + (folder_.path / "x").string() + "); \x1b[2J"});
    ASSERT_TRUE(all_done(ringer));
    EXPECT_FALSE(std::filesystem::exists(folder_.path / "x"));
    EXPECT_NE(folder_.read("said").find("$(touch "), std::string::npos);
    EXPECT_EQ(folder_.read("said").find('\x1b'), std::string::npos);
}

TEST_F(RingTest, AHookThatHangsIsEnded) {
    Ringer ringer({false, false, false, "/bin/sleep 600 & wait"}, std::chrono::milliseconds(50));
    EXPECT_EQ(ringer.ring("J1", {"test", 0, true, "Go."}).by, (Names{"hook"}));
    ringer.tidy();
    EXPECT_EQ(ringer.under_way(), 1u);
    EXPECT_TRUE(all_done(ringer));
}

}  // namespace
}  // namespace fettle::alarm
