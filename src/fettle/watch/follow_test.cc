// A run that is stayed with: through its whole length, and through the ways it can be over.
#include "fettle/watch/follow.h"

#include <gtest/gtest.h>

#include <cmath>

#include "fettle/watch/example_run.h"
#include "fettle/watch/where_test_help.h"

namespace fettle::watch {
namespace {

constexpr UnixMs kStart = 1'800'000'000'000;

UnixMs at(double s) {
    return kStart + static_cast<UnixMs>(s * 1000);
}

std::shared_ptr<const Against> against() {
    static const auto held = [] {
        ExampleRun r;
        return std::make_shared<const Against>(Against{r.family, r.sheet, r.forecast, r.map});
    }();
    return held;
}

Observed run_with(std::initializer_list<std::pair<const char*, double>> marks) {
    Observed seen;
    seen.started = kStart;
    for (const auto& [event, s] : marks) seen.marks.push_back({event, at(s), "tap", false});
    return seen;
}

Where after(const Observed& seen, double s) {
    Follow f(against(), seen);
    f.see(seen);
    return f.tick(at(s));
}

bool has(const Where& w, std::string_view code) {
    return std::any_of(w.judgement.reasons.begin(), w.judgement.reasons.end(),
                       [&](const Reason& r) { return r.code == code; });
}

// Two readings a second over forty minutes, marks as they come, one of them minutes late and one taken back.
TEST(Follow, AWholeRunGivesTheAnswersOfTheBeginning) {
    Observed known = run_with({});
    std::vector<SupplySample> measured;
    Follow f(against(), known);
    for (int s = 0; s <= 2400; ++s) {
        Observed news = known;
        for (double half : {0.0, 0.5}) {
            const double t = s + half - 1.2;  // the last reading of each second comes after its tick
            if (t < 0) continue;
            news.supply.push_back({at(t), 13.5, 2.2 + 0.15 * std::sin(t) + (t > 112 && t < 150 ? -1.3 : 0)});
        }
        measured.insert(measured.end(), news.supply.begin(), news.supply.end());
        if (s == 113) news.marks.push_back({"dark", at(112), "tap", false});
        if (s == 400) news.marks.push_back({"back", at(150), "tap", false});
        if (s == 900) news.marks.push_back({"asks", at(900), "tap", false});
        if (s == 905) news.marks.back().undone = true;
        if (s == 1500) news.shown.push_back({"Writing", at(1500)});
        known.marks = news.marks;
        known.shown = news.shown;
        f.see(std::move(news));
        const Where held = f.tick(at(s + 0.3));
        if (s % 300 != 0 && s != 400 && s != 905) continue;
        Observed all = known;
        all.supply = measured;
        EXPECT_EQ(all_of(held), all_of(track(against()->step(), all, at(s + 0.3)))) << s;
    }
}

TEST(Follow, ABrokenOffRunStandsAsItWasAndAsksForNothing) {
    Observed seen = run_with({{"dark", 112}, {"back", 150}, {"asks", 700}});
    const Where open = after(seen, 710);
    ASSERT_TRUE(has(open, "hands-now"));
    ASSERT_FALSE(open.hands.empty());
    seen.state = RunState::broken_off;
    seen.over_at = at(710);
    Follow f(against(), seen);
    f.see(seen);
    const Where w = f.tick(at(5000));
    EXPECT_EQ(w.state, RunState::broken_off);
    EXPECT_EQ(w.standing, Standing::astray);
    EXPECT_EQ(w.sentence, "Broken off; at its last moment it asks for the knob.");
    EXPECT_EQ(w.act, open.act);
    EXPECT_EQ(w.elapsed_s, 710);
    EXPECT_TRUE(w.hands.empty());
    EXPECT_EQ(w.end_p50_s, 0);
    EXPECT_EQ(w.end_p90_s, 0);
    EXPECT_FALSE(w.safe_to_remove);
    for (const char* code :
         {"hands-now", "hands-soon", "waiting-to-be-woken", "overdue", "slow-here", "no-marks-yet", "no-way-back-now"})
        EXPECT_FALSE(has(w, code)) << code;
    for (const std::string& line : f.strip(w)) EXPECT_EQ(line.find("hand"), std::string::npos) << line;
    EXPECT_EQ(all_of(f.tick(at(99'000))), all_of(w));
}

// An end that was seen does not make a run that was given up safe to touch.
TEST(Follow, BrokenOffAfterAnEndIsNotSafe) {
    Observed seen = run_with({{"ended", 800}});
    ASSERT_TRUE(after(seen, 5000).safe_to_remove);
    seen.state = RunState::broken_off;
    seen.over_at = at(4000);
    EXPECT_FALSE(after(seen, 5000).safe_to_remove);
    EXPECT_EQ(after(seen, 5000).standing, Standing::astray);
}

TEST(Follow, AnEndThatOnlyTheJournalHasCountsAsOne) {
    Observed seen = run_with({{"dark", 112}});
    seen.state = RunState::ended;
    seen.over_at = at(800);
    const Where w = after(seen, 810);
    EXPECT_EQ(w.standing, Standing::ended);
    EXPECT_NEAR(*w.in_act_s, 10, 1e-9);
    EXPECT_NE(w.rests_on.find("journal"), std::string::npos);
    seen.marks.push_back({"ended", at(790), "tap", false});
    EXPECT_NEAR(*after(seen, 810).in_act_s, 20, 1e-9);
}

// Events that move no act are events all the same.
TEST(Follow, WhatSomebodyLookedAtOrAskedForIsNoUnknownMark) {
    for (const char* event : {"still", "fed", "link-answers", "link-silent"})
        EXPECT_FALSE(has(after(run_with({{"dark", 112}, {event, 130}}), 140), "mark-unknown")) << event;
    EXPECT_TRUE(has(after(run_with({{"dark", 112}, {"humming", 130}}), 140), "mark-unknown"));
}

}  // namespace
}  // namespace fettle::watch
