#include "fettle/alarm/calls.h"

#include <gtest/gtest.h>

namespace fettle::alarm {
namespace {

using watch::HandsWindow;
using watch::Standing;
using watch::Where;

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

TEST(Calls, ForARunThatWasGivenUpNobodyIsCalled) {
    Where w = asking(true);
    w.likely_stuck = true;
    w.standing = Standing::astray;
    ASSERT_TRUE(call_due(w, {}, 0));
    w.state = RunState::broken_off;
    EXPECT_FALSE(call_due(w, {}, 0));
}

}  // namespace
}  // namespace fettle::alarm
