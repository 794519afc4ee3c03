// What two people mark of one thing, and an end that cannot be one.
#include <gtest/gtest.h>

#include "fettle/watch/example_run.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {
namespace {

constexpr UnixMs kStart = 1'800'000'000'000;

class TwoPeople : public testing::Test {
protected:
    TwoPeople() { seen_.started = kStart; }
    void mark(const char* event, double at_s) {
        seen_.marks.push_back({event, kStart + static_cast<UnixMs>(1000 * at_s), "tap", false});
    }
    Where where(double now_s) const {
        static const ExampleRun r;
        return track({r.family, r.sheet, r.forecast, r.map}, seen_, kStart + static_cast<UnixMs>(1000 * now_s));
    }
    static bool has(const Where& w, std::string_view code) {
        for (const Reason& r : w.judgement.reasons)
            if (r.code == code) return true;
        return false;
    }
    Observed seen_;
};

TEST_F(TwoPeople, OneMomentInDifferentWordsIsOne) {
    mark("dark", 140);
    mark("restarted", 147);
    mark("start-code", 180);
    mark("back", 186);
    const Where w = where(190);
    EXPECT_EQ(w.standing, Standing::running);
    EXPECT_EQ(w.act, "start-code");
    EXPECT_FALSE(has(w, "astray"));
    mark("asks", 560);
    mark("display", 580);
    mark("answered", 588);
    EXPECT_EQ(where(600).act, "display");
    EXPECT_FALSE(has(where(600), "astray"));
}

TEST_F(TwoPeople, ALoopIsToldByEventsNotByMarks) {
    for (const double s : {140.0, 148.0, 155.0, 166.0}) mark(s < 150 ? "dark" : "restarted", s);
    EXPECT_FALSE(where(170).restart_loop);
    for (const double s : {190.0, 230.0, 270.0, 310.0}) {
        mark("back", s);
        mark("dark", s + 20);
    }
    EXPECT_TRUE(where(340).restart_loop);
    EXPECT_TRUE(has(where(340), "restart-loop"));
}

TEST_F(TwoPeople, AnEndBeforeAnyGoodRunsEndIsALookNotAnEnd) {
    mark("ended", 20);
    seen_.state = RunState::ended;
    const Where w = where(2000);
    EXPECT_TRUE(has(w, "ended-too-early"));
    EXPECT_EQ(w.judgement.verdict(), Verdict::halt);
    EXPECT_FALSE(w.safe_to_remove);
    EXPECT_EQ(w.sentence.rfind("Stop:", 0), 0u);
    seen_.marks.clear();
    mark("ended", 820);
    EXPECT_FALSE(has(where(2000), "ended-too-early"));
    EXPECT_TRUE(where(2000).safe_to_remove);
}

// The script's own answer to no answer: of the example, that it stops.
TEST_F(TwoPeople, AnAskThatNobodyAnswersStopsIt) {
    mark("asks", 520);
    mark("skipped", 700);
    const Where w = where(730);
    EXPECT_TRUE(w.stands);
    EXPECT_EQ(w.act, "asks");
    EXPECT_EQ(w.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(w.sentence.rfind("It stands", 0), 0u);
    ASSERT_EQ(w.hands.size(), 1u);
    EXPECT_TRUE(w.hands[0].call);  // somebody is called, as for any ask that is due
    mark("ended", 900);
    EXPECT_TRUE(where(4000).end_in_doubt);
    EXPECT_EQ(where(4000).judgement.verdict(), Verdict::halt);
    seen_.marks.pop_back();
    mark("answered", 740);
    EXPECT_FALSE(where(750).stands);
    EXPECT_EQ(where(750).act, "display");
}

TEST_F(TwoPeople, ThatItIsDoneIsSaidAndNeverTakenFromWhatComesBefore) {
    mark("asks", 520);
    mark("answered", 560);
    mark("back", 890);  // from the last restart: what comes next is the end
    const Where w = where(4000);
    EXPECT_NE(w.standing, Standing::ended);
    EXPECT_FALSE(w.safe_to_remove);
    EXPECT_NE(w.sentence.find("mark ended when it says so"), std::string::npos) << w.sentence;
    mark("ended", 915);
    EXPECT_TRUE(where(4000).safe_to_remove);
}

TEST_F(TwoPeople, AClockThatWasSetBackLeavesNothingToSayByTime) {
    mark("still", 100);
    seen_.clock_unsure = true;
    const Where w = where(300);
    EXPECT_EQ(w.standing, Standing::astray);
    EXPECT_NE(w.if_power_went_words.find("at worst"), std::string::npos);
}

}  // namespace
}  // namespace fettle::watch
