#include "fettle/watch/calls.h"

#include <gtest/gtest.h>

namespace fettle::watch {
namespace {

Where asking(bool now) {
    Where w;
    HandsWindow h;
    h.act = "asks";
    h.words = "asks for the knob";
    h.control = "knob";
    h.now = now;
    h.call = true;
    w.hands.push_back(h);
    return w;
}

TEST(Calls, ClimbTheLadderWhileNobodyAnswers) {
    CallsMade made;
    const Where w = asking(true);
    std::vector<double> at_s;
    std::vector<bool> loud;
    for (double s = 0; s < 900; ++s) {
        const auto call = call_due(w, made, static_cast<UnixMs>(s * 1000));
        if (!call) continue;
        EXPECT_EQ(call->rung, static_cast<int>(at_s.size()));
        EXPECT_EQ(call->words, "Hands are needed now: it asks for the knob.");
        made[call->key] = {call->rung, static_cast<UnixMs>(s * 1000)};
        at_s.push_back(s);
        loud.push_back(call->loud);
    }
    EXPECT_EQ(at_s, (std::vector<double>{0, 20, 140, 380, 620, 860}));
    EXPECT_EQ(loud, (std::vector<bool>{false, true, true, true, true, true}));
}

TEST(Calls, AheadOfTimeOnceAndNotLoud) {
    CallsMade made;
    const auto first = call_due(asking(false), made, 0);
    ASSERT_TRUE(first);
    EXPECT_FALSE(first->loud);
    made[first->key] = {0, 0};
    EXPECT_FALSE(call_due(asking(false), made, 10'000'000));
    EXPECT_TRUE(call_due(asking(true), made, 30'000));
}

TEST(Calls, AClockSetBackDoesNotSilenceThem) {
    CallsMade made{{"hands:asks", {3, 10'000'000}}};
    EXPECT_TRUE(call_due(asking(true), made, 0));
}

TEST(Calls, StuckAstrayAndLoopsCallToo) {
    Where w;
    w.likely_stuck = true;
    EXPECT_EQ(call_due(w, {}, 0)->key, "stuck");
    w.likely_stuck = false;
    w.standing = Standing::astray;
    EXPECT_EQ(call_due(w, {}, 0)->key, "astray");
    w.standing = Standing::ended;
    EXPECT_FALSE(call_due(w, {}, 0));
}

// A listener alarms itself when it hears nothing: also when it never heard anything, and not because clocks differ.
TEST(Listener, AlarmsWhenTheBeatStops) {
    Listener l(10);
    for (long s = 0; s < 30; ++s) EXPECT_FALSE(l.hear(s, 100 + double(s)));
    EXPECT_FALSE(l.hear(29, 138));
    EXPECT_TRUE(l.hear(29, 139));
    EXPECT_TRUE(l.hear(std::nullopt, 150));
    EXPECT_FALSE(l.hear(3, 151));  // a watch that was started anew counts from the beginning
    Listener never(10);
    EXPECT_FALSE(never.hear(std::nullopt, 5));
    EXPECT_TRUE(never.hear(std::nullopt, 15));
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
}  // namespace fettle::watch
