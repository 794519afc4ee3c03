#include "fettle/watch/wall.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

namespace fettle::watch {
namespace {

HandsAsk ask(const char* bench, double from_min, double to_min, double hands_min) {
    return {bench, "asks", evenly(60 * from_min, 60 * to_min), 60 * hands_min};
}

// Story 43: both ask at 22 to 28 min, 3 min each; the second started 9 min later never waits (28 + 3 = 22 + 9).
TEST(Wall, TheSecondStartsWhenNothingCanClash) {
    const auto after = start_after({ask("bench 1", 22, 28, 3)}, {ask("bench 2", 22, 28, 3)}, 1);
    ASSERT_TRUE(after);
    EXPECT_DOUBLE_EQ(*after, 540);
    EXPECT_NEAR(no_wait({ask("bench 1", 22, 28, 3)}, {ask("bench 2", 22, 28, 3)}, 540), 1, 1e-12);
    EXPECT_LT(no_wait({ask("bench 1", 22, 28, 3)}, {ask("bench 2", 22, 28, 3)}, 539), 1);
}

// Two uniform asks on [0, w], h each: the chance that they lie closer than h is 1 − (1 − h/w)². From memory: the
// meeting problem of every textbook of probability (F. Mosteller, Fifty Challenging Problems, "Quo vadis?" and others).
TEST(Wall, TheChanceIsThatOfTheMeetingProblem) {
    for (double hands_min : {1.0, 3.0, 5.0}) {
        const double p = clash(ask("1", 22, 28, hands_min), ask("2", 22, 28, hands_min));
        EXPECT_NEAR(p, 1 - std::pow(1 - hands_min / 6, 2), 0.004) << hands_min;
    }
}

TEST(Wall, WhoIsDoneBeforeTheOtherAsksDoesNotClash) {
    EXPECT_EQ(clash(ask("1", 10, 10, 3), ask("2", 13, 13, 3)), 0);
    EXPECT_EQ(clash(ask("1", 10, 10, 3), ask("2", 12.9, 12.9, 3)), 1);
    EXPECT_TRUE(clashes({ask("1", 10, 10, 3), ask("1", 10, 10, 3)}).empty());  // one bench does not clash with itself
}

TEST(Wall, LessCertaintyStartsEarlier) {
    const std::vector<HandsAsk> there{ask("1", 22, 28, 3)}, next{ask("2", 22, 28, 3)};
    const auto sure = start_after(there, next, 1), likely = start_after(there, next, 0.9);
    ASSERT_TRUE(sure && likely);
    EXPECT_LT(*likely, *sure);
    EXPECT_GE(no_wait(there, next, *likely), 0.9);
    EXPECT_LT(no_wait(there, next, *likely - 15), 0.9);
    EXPECT_FALSE(start_after({ask("1", 0, 600, 3)}, {ask("2", 0, 10, 3)}, 1, 3600));
}

// Against counting every pair, on small grids.
RC_GTEST_PROP(WallProperty, ClashIsTheCountOfPairs, ()) {
    const auto draws = [] {
        std::vector<double> v;
        const int n = *rc::gen::inRange(1, 8);
        for (int i = 0; i < n; ++i) v.push_back(*rc::gen::inRange(0, 20));
        return v;
    };
    const std::vector<double> a = draws(), b = draws();
    const double ha = *rc::gen::inRange(1, 6), hb = *rc::gen::inRange(1, 6);
    int n = 0;
    for (double x : a) {
        for (double y : b) n += (x <= y && y < x + ha) || (y < x && x < y + hb);
    }
    const HandsAsk one{"1", "", from_draws(a), ha}, two{"2", "", from_draws(b), hb};
    RC_ASSERT(std::abs(clash(one, two) - double(n) / double(a.size() * b.size())) < 1e-9);
    RC_ASSERT(std::abs(no_wait({one}, {two}, 0) - (1 - clash(one, two))) < 1e-9);
}

TEST(Wall, RowsAreNeverWiderThanAsked) {
    std::vector<WallRow> rows{{"bench 1", "writes", {ask("bench 1", 22, 28, 3)}, 2400, false},
                              {"a bench with a long name", "reads", {ask("bench 2", 24, 30, 3)}, 3000, true}};
    for (int width : {48, 80, 132}) {
        std::vector<std::string> labels;
        for (double s : wall_ticks(rows, width)) labels.push_back(std::to_string(int(s / 60)));
        for (bool ascii : {false, true}) {
            const auto lines = wall(rows, width, ascii, labels);
            ASSERT_GE(lines.size(), 3u);
            for (const std::string& l : lines) {
                int n = 0;
                for (char c : l) n += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
                EXPECT_LE(n, width) << l;
            }
        }
    }
}

TEST(HandsWindow, IsReadAsItIsSaid) {
    const HandsAsk w = parse_hands_window("bench 2=22-28+3").value();
    EXPECT_EQ(w.bench, "bench 2");
    EXPECT_EQ(w.at.from_s, 22 * 60);
    EXPECT_EQ(w.at.to_s(), 28 * 60);
    EXPECT_EQ(w.hands_s, 180);
    for (const char* text : {"", "=1-2+3", "a=2-1+3", "a=1-2", "a=1+3", "a=x-2+3", "a=-1-2+3", "a=1-2+3x"})
        EXPECT_FALSE(parse_hands_window(text)) << text;
}

}  // namespace
}  // namespace fettle::watch
