#include "fettle/watch/tracker.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "fettle/watch/example_run.h"
#include "fettle/watch/future.h"

namespace fettle::watch {
namespace {

constexpr UnixMs kStart = 1'800'000'000'000;

const ExampleRun& example() {
    static const ExampleRun run;
    return run;
}

class TrackerTest : public testing::Test {
protected:
    TrackerTest() { seen_.started = kStart; }
    void mark(const char* event, double at_s) { seen_.marks.push_back({event, at(at_s), "tap", false}); }
    static UnixMs at(double s) { return kStart + static_cast<UnixMs>(s * 1000); }
    Where where(double now_s) const {
        const ExampleRun& r = example();
        return track({r.family, r.sheet, r.forecast, r.map}, seen_, at(now_s));
    }
    static bool has(const Where& w, std::string_view code) {
        for (const Reason& r : w.judgement.reasons) {
            if (r.code == code) return true;
        }
        return false;
    }
    Observed seen_;
};

TEST_F(TrackerTest, WithoutAnyMarkElapsedTimeAloneStillPlacesIt) {
    const Where w = where(300);
    EXPECT_EQ(w.act, "system");
    EXPECT_FALSE(w.by_mark);
    EXPECT_TRUE(has(w, "no-marks-yet"));
    EXPECT_NE(w.sentence.find("by elapsed time alone"), std::string::npos);
    EXPECT_EQ(w.rests_on.rfind("elapsed time alone", 0), 0u);
}

TEST_F(TrackerTest, ExpectedEndAtTheStartIsTheForecast) {
    const Where w = where(0);
    EXPECT_NEAR(w.end_p50_s, example().forecast.total.p50_s, 0.02 * example().forecast.total.p50_s);
    EXPECT_NEAR(w.end_p90_s, example().forecast.total.p90_s, 0.03 * example().forecast.total.p90_s);
}

// The lateness shown inside a marked act is the survival that the forecast room gives by its own draws.
TEST_F(TrackerTest, LatenessInADarkActAgreesWithTheForecastsSurvival) {
    const ExampleRun& r = example();
    const double usual = r.forecast.states[4].begins.p50_s;  // neither slow nor fast so far
    mark("dark", usual);
    for (double dark_s : {20.0, 40.0, 60.0, 80.0}) {
        EXPECT_NEAR(where(usual + dark_s).as_slow, forecast::survival(r.family, r.sheet, "dark-1", dark_s), 0.05)
            << dark_s;
    }
}

TEST_F(TrackerTest, LatenessNeverFallsBackWhileWaiting) {
    mark("dark", 130);
    double before = 1;
    for (double s = 130; s < 400; s += 7) {
        const double now = where(s).as_slow;
        EXPECT_LE(now, before + 1e-12);
        before = now;
    }
    EXPECT_LT(before, 0.01);
    EXPECT_TRUE(has(where(400), "overdue"));
}

TEST_F(TrackerTest, AMarkPutsItExactly) {
    mark("dark", 130);
    mark("back", 170);
    const Where w = where(175);
    EXPECT_EQ(w.act, "start-code");
    EXPECT_TRUE(w.by_mark);
    EXPECT_NEAR(*w.in_act_s, 5, 1e-9);
    EXPECT_EQ(w.restarts_seen, 1);
    EXPECT_EQ(w.restarts_in_script, 2);
}

TEST_F(TrackerTest, IfPowerWentNowComesFromTheMap) {
    mark("dark", 130);
    mark("back", 170);
    const Where w = where(175);  // the start code: nothing starts without it
    EXPECT_TRUE(w.if_power_went.contains(cutmap::Outcome::bench_repair));
    EXPECT_TRUE(has(w, "no-way-back-now"));
    EXPECT_NE(w.if_power_went_words.find("bench repair"), std::string::npos);
}

TEST_F(TrackerTest, LongAfterTheEndWithoutAMarkItDoesNotClaimThatItIsDone) {
    const Where w = where(3000);
    EXPECT_NE(w.standing, Standing::ended);
    EXPECT_NE(w.if_power_went_words.find("can't say"), std::string::npos);
    EXPECT_EQ(cutmap::worst(w.if_power_went), cutmap::Outcome::bench_repair);
    EXPECT_EQ(w.judgement.verdict(), Verdict::cant_say);
}

TEST_F(TrackerTest, HandsComeBeforeTheAskAndAreDueWhenItAsks) {
    Where w = where(0);
    ASSERT_EQ(w.hands.size(), 1u);
    EXPECT_EQ(w.hands[0].control, "knob");
    EXPECT_LT(w.hands[0].from_s, w.hands[0].to_s);
    EXPECT_FALSE(w.hands[0].now);
    mark("asks", 560);
    w = where(565);
    ASSERT_EQ(w.hands.size(), 1u);
    EXPECT_TRUE(w.hands[0].now);
    EXPECT_TRUE(has(w, "hands-now"));
    mark("answered", 590);
    EXPECT_TRUE(where(595).hands.empty());
}

TEST_F(TrackerTest, HandsAreCalledAtTheShopsCertaintyAndNotLater) {
    mark("dark", 130);
    mark("back", 170);
    int near = 0, before = 0;
    for (double s = 300; s < 560; s += 4) {
        for (const HandsWindow& h : where(s).hands) {
            if (h.now) continue;
            EXPECT_EQ(h.call, h.p_within >= 0.8) << s << " s: " << h.p_within;  // the usual certainty of a shop
            near += h.p_within >= 0.8 && h.p_within < 0.88;
            before += !h.call;
        }
    }
    EXPECT_GT(near, 0);
    EXPECT_GT(before, 10);
}

TEST_F(TrackerTest, ASlowStickSeenEarlyMovesTheEnd) {
    mark("dark", 112);
    mark("back", 150);
    const double usual = where(151).end_p50_s;
    seen_.marks.clear();
    mark("dark", 180);  // far later than usual
    mark("back", 230);
    EXPECT_GT(where(231).end_p50_s, usual + 10);
}

TEST_F(TrackerTest, SaidTwiceIsSaidOnce) {
    mark("dark", 130);
    mark("dark", 131);
    mark("back", 170);
    mark("back", 172);
    const Where w = where(175);
    EXPECT_EQ(w.standing, Standing::running);
    EXPECT_EQ(w.act, "start-code");
    EXPECT_EQ(w.restarts_seen, 1);
}

TEST_F(TrackerTest, ARestartMoreThanTheScriptIsAstray) {
    for (const auto& [e, s] : {std::pair{"dark", 130.0},
                               {"back", 170.0},
                               {"asks", 560.0},
                               {"answered", 580.0},
                               {"dark", 760.0},
                               {"back", 830.0},
                               {"dark", 900.0}})
        mark(e, s);
    const Where w = where(910);
    EXPECT_EQ(w.standing, Standing::astray);
    EXPECT_TRUE(has(w, "more-restarts-than-script"));
    EXPECT_EQ(w.judgement.verdict(), Verdict::cant_say);
    EXPECT_NE(w.if_power_went_words.find("at worst bench repair"), std::string::npos);
}

// Whoever answers at the box taps both marks afterwards, one right after the other.
TEST_F(TrackerTest, AnAnswerTappedRightAfterTheAskIsNotAstray) {
    for (const auto& [e, s] : {std::pair{"dark", 130.0}, {"back", 170.0}, {"asks", 560.0}, {"answered", 560.5}})
        mark(e, s);
    EXPECT_EQ(where(562).standing, Standing::running);
    EXPECT_EQ(where(600).standing, Standing::running);
}

// The last restart was not marked, and the run is long over by its times: what is not seen is not called done.
TEST_F(TrackerTest, AnEndThatNobodySawIsNotSaidToLoseNothing) {
    for (const auto& [e, s] : {std::pair{"dark", 130.0}, {"back", 170.0}, {"asks", 560.0}, {"answered", 570.0}})
        mark(e, s);
    int running = 0;
    for (double now : {900.0, 1200.0, 1800.0, 3600.0}) {
        const Where w = where(now);
        if (w.standing != Standing::running) continue;
        ++running;
        EXPECT_NE(w.if_power_went, cutmap::Outcomes{cutmap::Outcome::done}) << now << ": " << w.sentence;
    }
    EXPECT_GE(running, 1);
}

TEST_F(TrackerTest, DarkFarTooEarlyIsNotTheNextScriptedRestart) {
    mark("dark", 130);
    mark("back", 170);
    mark("dark", 200);  // the script's next dark act is minutes away
    EXPECT_EQ(where(205).standing, Standing::astray);
}

TEST_F(TrackerTest, AnActNamedAgainAfterItWasPassedIsAstrayAndAnotherActFindsItAgain) {
    mark("system", 300);
    mark("reading", 320);
    EXPECT_EQ(where(321).standing, Standing::astray);
    mark("kernel", 360);
    const Where w = where(365);
    EXPECT_EQ(w.standing, Standing::running);
    EXPECT_EQ(w.act, "kernel");
}

// Counts far behind the forecast's pace are a slow run, not one that has left the script.
TEST_F(TrackerTest, SlowCountsDoNotMakeARunAstray) {
    mark("system", 400);
    TallyReading r;
    r.landed = 5;
    r.at = at(600);
    seen_.tally.push_back(r);
    const Where w = where(600);
    EXPECT_EQ(w.standing, Standing::running) << w.sentence;
    EXPECT_EQ(w.act, "system");
}

TEST_F(TrackerTest, AnUndoneMarkWasNeverMade) {
    mark("dark", 130);
    const Where before = where(140);
    mark("ended", 141);
    EXPECT_EQ(where(142).standing, Standing::ended);
    seen_.marks.back().undone = true;
    EXPECT_EQ(where(142).act, before.act);
}

TEST_F(TrackerTest, EndedIsEnded) {
    mark("ended", 820);
    const Where w = where(830);
    EXPECT_EQ(w.standing, Standing::ended);
    EXPECT_EQ(w.end_p90_s, 0);
    EXPECT_NE(w.sentence.find("another 50 s"), std::string::npos);  // settle_s = 60
}

// Story 55: a text that the family file knows, and one that it does not.
TEST_F(TrackerTest, AKnownTextIsExplainedAndPlacesTheRun) {
    seen_.shown.push_back({"Turn the knob to go on", at(560)});
    const Where w = where(561);
    EXPECT_EQ(w.act, "asks");
    EXPECT_TRUE(has(w, "text-known"));
    EXPECT_TRUE(has(w, "hands-now"));
}
TEST_F(TrackerTest, AnUnknownTextIsKeptWordForWord) {
    mark("dark", 130);
    mark("back", 170);
    seen_.shown.push_back({"Zork <17>\n", at(300)});
    const Where w = where(301);
    bool found = false;
    for (const Reason& r : w.judgement.reasons) {
        if (r.code != "text-unknown") continue;
        found = true;
        EXPECT_EQ(r.verdict, Verdict::cant_say);
        EXPECT_NE(r.text.find("\"Zork <17>\\x0a\""), std::string::npos) << r.text;
        EXPECT_NE(r.text.find("wait "), std::string::npos);
    }
    EXPECT_TRUE(found);
    EXPECT_EQ(w.act, "system");  // the place is not touched by it
}
TEST_F(TrackerTest, ATextIsSaidWhileItIsShown) {
    seen_.shown.push_back({"Zork", at(200)});
    EXPECT_TRUE(has(where(201), "text-unknown"));
    seen_.shown.push_back({"Turn the knob to go on", at(560)});
    EXPECT_FALSE(has(where(561), "text-unknown"));
    EXPECT_TRUE(has(where(561), "text-known"));
    mark("answered", 570);
    seen_.marks.back().undone = true;
    EXPECT_TRUE(has(where(571), "text-known"));  // what was taken back takes no text away
    mark("answered", 572);
    EXPECT_FALSE(has(where(573), "text-known"));
}
TEST_F(TrackerTest, ARefusedPieceIsFlagged) {
    seen_.shown.push_back({"Part not taken", at(300)});
    EXPECT_TRUE(has(where(301), "piece-refused"));
    mark("ended", 820);
    EXPECT_TRUE(has(where(830), "piece-refused"));  // the screen has moved on, the piece has not
}

TEST_F(TrackerTest, BegunAgainstAHaltIsSaidAllAlong) {
    seen_.against_halt = true;
    EXPECT_TRUE(has(where(10), "begun-against-halt"));
    mark("ended", 800);
    EXPECT_TRUE(has(where(900), "begun-against-halt"));
}

TEST_F(TrackerTest, ClockJumpsAreSaidAndDoNotEndTheWatch) {
    mark("dark", -5000);
    mark("back", 90000);
    const Where w = where(-100);
    EXPECT_EQ(w.elapsed_s, 0);
    EXPECT_TRUE(has(w, "clock-jumped"));
}

TEST_F(TrackerTest, WithoutAScriptNothingIsPromised) {
    const ExampleRun& r = example();
    family::Family bare;
    bare.id = "plate-only";
    const forecast::Forecast none;
    const cutmap::CutMap empty;
    const Where w = track({bare, r.sheet, none, empty}, seen_, at(100));
    EXPECT_TRUE(has(w, "script-not-known"));
    EXPECT_EQ(w.if_power_went_words, "can't say; keep it fed");
    EXPECT_TRUE(has(w, "no-way-back-now"));
}

TEST_F(TrackerTest, UnknownBootOrderIsCantSayNotACalmWord) {
    const ExampleRun& r = example();
    family::Family f = r.family;
    f.boot.clear();
    const cutmap::CutMap map = cutmap::power_cut_map(f, r.sheet, r.forecast, 1);
    EXPECT_FALSE(map.boot_order_known);
    const Where w = track({f, r.sheet, r.forecast, map}, seen_, at(300));
    EXPECT_NE(w.if_power_went_words.find("can't say"), std::string::npos);
}

TEST(Tally, ConservationNamesTheFirstReadingThatBreaksIt) {
    const ExampleRun& r = example();
    change::ExpectedTally expected = r.sheet.tally;
    const int n = expected.total;
    std::vector<TallyReading> readings = {{0, 0, 0, n, 0}, {3, 0, 0, n - 3, 0}, {7, {}, {}, {}, 0}};
    EXPECT_FALSE(check_tally(r.family, expected, readings));
    readings.push_back({6, {}, {}, {}, 0});
    auto b = check_tally(r.family, expected, readings);
    ASSERT_TRUE(b);
    EXPECT_EQ(b->reading, 3u);
    EXPECT_EQ(b->why, "landed fell from 7 to 6");
    readings.back() = {7, 0, 0, n - 6, 0};
    b = check_tally(r.family, expected, readings);
    ASSERT_TRUE(b);
    EXPECT_NE(b->why.find("add up to"), std::string::npos);
    readings.back() = {{}, {}, {}, n - 2, 0};
    EXPECT_EQ(check_tally(r.family, expected, readings)->why, fmt::format("to come rose from {} to {}", n - 3, n - 2));
    family::Family growing = r.family;
    growing.tally->to_come_may_rise = true;
    EXPECT_FALSE(check_tally(growing, expected, readings));
}

TEST(Tally, IsReadFromText) {
    const auto t = parse_tally("landed=12, to_come=3", 5);
    ASSERT_TRUE(t);
    EXPECT_EQ(t->landed, 12);
    EXPECT_EQ(t->to_come, 3);
    EXPECT_FALSE(t->refused);
    for (const char* bad : {"", "landed", "landed=", "landed=-1", "landed=1x", "gone=1", "landed=1,landed=2"})
        EXPECT_EQ(parse_tally(bad, 0).error().kind, ErrorKind::usage) << bad;
}

TEST(Pace, IsSaidInPlainCounts) {
    EXPECT_EQ(slow_words(1.0), "every good run takes this long here");
    EXPECT_EQ(slow_words(2.0 / 3), "2 in 3 good runs are this slow here");
    EXPECT_EQ(slow_words(1.0 / 3), "1 in 3 good runs are this slow here");
    EXPECT_EQ(slow_words(0.0), "fewer than 1 in 250 good runs are this slow here");
}

// Before anything was seen, the model's total has the forecast's own median and 90 % point.
TEST(Model, TotalsFollowTheForecast) {
    const ExampleRun& r = example();
    const Step step{r.family, r.sheet, r.forecast, r.map};
    const Model model(step, true);
    std::vector<Place> start;
    for (std::size_t level = 0; level < model.levels(); ++level) start.push_back({0, level, 0, model.weight(level)});
    const Future future(model, start, 6000);
    const std::span<const double> totals = future.begins(model.chain().size() - 1);
    EXPECT_NEAR(quantile(totals, 0.5), r.forecast.total.p50_s, 0.02 * r.forecast.total.p50_s);
    EXPECT_NEAR(quantile(totals, 0.9), r.forecast.total.p90_s, 0.02 * r.forecast.total.p90_s);
}

}  // namespace
}  // namespace fettle::watch
