// The supply current as evidence: it places a run that nobody marks, tells slow from stuck, wakes what sleeps, proposes
// marks where no script is known; and whatever a meter writes ends no watch.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "fettle/base/source_path.h"
#include "fettle/watch/example_run.h"
#include "fettle/watch/simulated_world_test_help.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {
namespace {

constexpr UnixMs kStart = 1'800'000'000'000;

const ExampleRun& example() {
    static const ExampleRun run;
    return run;
}

Where where(const Observed& seen, double now_s, const ExampleRun& r = example()) {
    return track({r.family, r.sheet, r.forecast, r.map}, seen, kStart + static_cast<UnixMs>(now_s * 1000));
}

bool has(const Where& w, std::string_view code) {
    for (const Reason& r : w.judgement.reasons) {
        if (r.code == code) return true;
    }
    return false;
}

void measure(Observed& seen, double from_s, double to_s, double amps, double noise = 0.1) {
    std::mt19937_64 random(7);
    std::normal_distribution<double> n(0, noise);
    for (double s = from_s; s < to_s; ++s)
        seen.supply.push_back({kStart + static_cast<UnixMs>(s * 1000), 13.5, std::fmax(0, amps + n(random))});
}

double begins(const char* act) {
    for (const auto& w : example().forecast.states) {
        if (w.act == act) return w.begins.p50_s;
    }
    return -1;
}

TEST(TrackerCurrent, PlacesARunThatNobodyMarks) {
    Observed seen;
    seen.started = kStart;
    const double dark = begins("dark-1") + 25;  // later than usual
    measure(seen, 0, 50, 1.85);
    measure(seen, 50, dark, 2.2);
    measure(seen, dark, dark + 20, 0.9);
    const Where w = where(seen, dark + 20);
    EXPECT_EQ(w.act, "dark-1");
    EXPECT_NE(w.rests_on.find("supply current"), std::string::npos);
    EXPECT_GT(w.odds.front().p, 0.8);
}

TEST(TrackerCurrent, WithoutReadingsNothingIsMadeOfTheirAbsence) {
    Observed none, some;
    none.started = some.started = kStart;
    some.supply.push_back({kStart + 5000, 13.5, std::nan("")});
    EXPECT_EQ(where(none, 300).act, where(some, 300).act);
    EXPECT_TRUE(has(where(some, 300), "supply-readings-left-out"));
}

TEST(TrackerCurrent, FlatAndLowForLongIsLikelyStuck) {
    Observed seen;
    seen.started = kStart;
    const double at = begins("system") + 60;
    seen.marks.push_back({"dark", kStart + static_cast<UnixMs>(begins("dark-1") * 1000), "tap", false});
    seen.marks.push_back({"back", kStart + static_cast<UnixMs>(begins("start-code") * 1000), "tap", false});
    measure(seen, 0, at, 2.3);
    measure(seen, at, at + 500, 0.6, 0.01);
    Where w = where(seen, at + 500);
    EXPECT_TRUE(w.likely_stuck) << w.stuck << " " << w.sentence;
    EXPECT_TRUE(has(w, "likely-stuck"));
    EXPECT_EQ(w.worry.parts.size(), 2u);
    EXPECT_LE(w.worry.low(), w.worry.high());
    EXPECT_NE(w.if_power_went_words.size(), 0u);
    // The same run at the working current is slow, not stuck.
    seen.supply.clear();
    measure(seen, 0, begins("asks") + 60, 2.3);
    w = where(seen, begins("asks") + 60);
    EXPECT_FALSE(w.likely_stuck) << w.stuck;
}

// A supply that returns an old value again and again: said, and no evidence that the box itself is still.
TEST(TrackerCurrent, TheVerySameFiguresForLongAreSaidAndNoFlatness) {
    Observed seen;
    seen.started = kStart;
    const double at = begins("system") + 30;
    measure(seen, 0, at, 2.3);
    const Where before = where(seen, at);
    EXPECT_FALSE(has(before, "supply-unchanging"));
    for (double s = at; s < at + 120; ++s) seen.supply.push_back({kStart + static_cast<UnixMs>(s * 1000), 13.5, 2.31});
    const Where w = where(seen, at + 120);
    EXPECT_TRUE(has(w, "supply-unchanging"));
    EXPECT_FALSE(w.likely_stuck);
    EXPECT_LT(w.stuck, 0.05);
}

// Pelm's own file: on a bench it sleeps until the ignition line is fed.
struct PelmRun {
    family::Family family = family::load_family(source_path("families/pelm.toml")).value();
    change::ChangeSheet sheet;
    forecast::Forecast forecast;
    cutmap::CutMap map;
    PelmRun() {
        family::Release release;
        release.family = "pelm";
        release.release = "27.2.064";
        for (const char* region : {"base", "system"}) {
            for (int i = 0; i < 3; ++i) {
                family::Piece p;
                p.name = std::string(region) + std::to_string(i);
                p.box = "main";
                p.region = region;
                p.version = "27.2.064";
                p.files.push_back({p.name, 1u << 20, {{"sha256", std::string(64, 'a')}}});
                release.pieces.push_back(p);
            }
        }
        change::InstalledList as_found;
        as_found.origin = Origin::typed;
        sheet = change::change_sheet(family, release, as_found, {{"main", {"27.1.052", "D", "NS", 1}}});
        forecast = forecast::forecast(family, sheet, {});
        map = cutmap::power_cut_map(family, sheet, forecast, 1);
    }
};

// Story 38: dark for 4 min, link silent, 0.05 A.
TEST(TrackerCurrent, WhatSleepsIsWokenNotCalledStuck) {
    static const PelmRun pelm;
    const Step step{pelm.family, pelm.sheet, pelm.forecast, pelm.map};
    double dark = 0;
    for (const auto& w : pelm.forecast.states) {
        if (w.act == "asleep") dark = w.begins.p50_s;
    }
    Observed seen;
    seen.started = kStart;
    seen.marks.push_back({"dark", kStart + static_cast<UnixMs>(dark * 1000), "tap", false});
    seen.marks.push_back({"link-silent", kStart + static_cast<UnixMs>((dark + 239) * 1000), "link", false});
    measure(seen, dark, dark + 240, 0.05, 0.01);
    const UnixMs now = kStart + static_cast<UnixMs>((dark + 240) * 1000);
    Where w = track(step, seen, now);
    EXPECT_TRUE(w.to_be_woken) << w.sentence;
    EXPECT_FALSE(w.likely_stuck);
    EXPECT_EQ(w.sentence, "Likely waiting to be woken: feed ignition now.");
    ASSERT_FALSE(w.hands.empty());
    EXPECT_TRUE(w.hands[0].wake && w.hands[0].now && w.hands[0].call);
    seen.on_bench = false;  // in a vehicle nothing has to be fed
    EXPECT_FALSE(track(step, seen, now).to_be_woken);
}

TEST(TrackerCurrent, WithNoScriptChangesAreProposedAsMarks) {
    family::Family bare;
    bare.id = "plate-only";
    const change::ChangeSheet sheet;
    const forecast::Forecast none;
    const cutmap::CutMap map;
    Observed seen;
    seen.started = kStart;
    measure(seen, 0, 120, 2.0);
    measure(seen, 120, 160, 0.7);
    measure(seen, 160, 300, 2.1);
    Where w = track({bare, sheet, none, map}, seen, kStart + 300'000);
    ASSERT_EQ(w.proposals.size(), 2u);
    EXPECT_NEAR(w.proposals[0].at_s, 120, 4);
    EXPECT_EQ(w.proposals[0].event, "dark");
    EXPECT_EQ(w.proposals[1].event, "back");
    EXPECT_TRUE(has(w, "change-unmarked"));
    seen.marks.push_back({"dark", kStart + 121'000, "tap", false});
    w = track({bare, sheet, none, map}, seen, kStart + 300'000);
    EXPECT_EQ(w.proposals.size(), 1u);
}

// A recorded trace, looked at every second, every ten minutes, or once at the end: the same conclusions.
TEST(TrackerCurrent, ATraceReplayedAtAnySpeedGivesTheSameConclusions) {
    SimulatedWorld world(99);
    const SimulatedRun run = world.run(example().family, example().forecast, false);
    const auto replay = [&](double step_s) {
        Observed seen;
        seen.started = kStart;
        std::size_t next = 0, tap = 0;
        Where w;
        for (double now = step_s; now <= 600; now += step_s) {
            while (next < run.amps.size() && static_cast<double>(next) <= now) {
                seen.supply.push_back({kStart + static_cast<UnixMs>(next * 1000), 13.5, run.amps[next]});
                ++next;
            }
            while (tap < run.taps.size() && run.taps[tap].at_s <= now) {
                seen.marks.push_back(
                    {run.taps[tap].event, kStart + static_cast<UnixMs>(run.taps[tap].at_s * 1000), "tap", false});
                ++tap;
            }
            if (step_s > 1 || static_cast<int>(now) % 60 == 0) w = where(seen, now);
        }
        return w;
    };
    const Where one = replay(1), ten_minutes = replay(600);
    EXPECT_EQ(one.sentence, ten_minutes.sentence);
    EXPECT_EQ(one.act, ten_minutes.act);
    EXPECT_EQ(one.end_p90_s, ten_minutes.end_p90_s);
    EXPECT_EQ(one.stuck, ten_minutes.stuck);
    EXPECT_EQ(one.judgement.reasons, ten_minutes.judgement.reasons);
}

TEST(TrackerCurrent, NoReadingEndsIt) {
    Observed seen;
    seen.started = kStart;
    for (double v : {std::nan(""), -1.0, 1e300, double(INFINITY), -double(INFINITY), 0.0})
        for (UnixMs t : {kStart - 5000, kStart, kStart + 100'000, kStart + 50'000, kStart + 90'000'000'000})
            seen.supply.push_back({t, v, v});
    const Where w = where(seen, 120);
    EXPECT_FALSE(w.sentence.empty());
    EXPECT_TRUE(has(w, "supply-readings-left-out"));
}

TEST(TrackerCurrent, SomebodyWhoLooksAgainMakesSilenceCount) {
    Observed seen;
    seen.started = kStart;
    seen.marks.push_back({"dark", kStart + 130'000, "tap", false});
    const double unseen = where(seen, 130 + 200).stuck;
    seen.marks.push_back({"still", kStart + 329'000, "tap", false});
    const Where w = where(seen, 330);
    EXPECT_GT(w.stuck, 2 * unseen);
    EXPECT_TRUE(has(w, "may-be-stuck") || has(w, "likely-stuck"));
}

TEST(TrackerCurrent, ARestartLoopIsNamed) {
    Observed seen;
    seen.started = kStart;
    for (int i = 0; i < 5; ++i) {
        seen.marks.push_back({"dark", kStart + 130'000 + i * 60'000, "tap", false});
        seen.marks.push_back({"back", kStart + 160'000 + i * 60'000, "tap", false});
    }
    const Where w = where(seen, 450);
    EXPECT_TRUE(w.restart_loop);
    EXPECT_TRUE(has(w, "restart-loop"));
}

}  // namespace
}  // namespace fettle::watch
