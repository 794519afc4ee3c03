// How far the filter is played again for what came late, and how much is kept for that.
#include "fettle/watch/playback.h"

#include <gtest/gtest.h>

#include <cmath>

#include "fettle/watch/example_run.h"

namespace fettle::watch {
namespace {

class PlaybackTest : public testing::Test {
protected:
    PlaybackTest() : example_(9), model_({example_.family, example_.sheet, example_.forecast, example_.map}, true) {}

    Sign mark(const char* event, double at_s) const {
        Sign s;
        s.event = event_of(model_.script(), event);
        s.at_s = at_s;
        return s;
    }
    // Seconds that at() has to play.
    static std::uint64_t played(Playback& p, double elapsed_s, const AmpsSeries& amps) {
        const std::uint64_t before = p.version();
        p.at(elapsed_s, amps);
        return p.version() - before;
    }
    static void measure(AmpsSeries& amps, double from_s, double to_s) {
        std::vector<SupplySample> samples;
        for (double s = from_s; s < to_s; s += 0.5)
            samples.push_back({static_cast<UnixMs>(1000 * s), 13.5, 2.2 + 0.1 * std::sin(s)});
        amps.add(samples);
    }
    // Every chance of every state, to the last bit.
    std::vector<double> all(const Follower& f) const {
        std::vector<double> out;
        for (const Place& p : f.places()) out.insert(out.end(), {p.age_s, p.p});
        for (std::size_t k = 0; k < model_.chain().size(); ++k) out.push_back(f.stuck_in(k));
        out.push_back(f.astray());
        return out;
    }

    ExampleRun example_;
    Model model_;
};

TEST_F(PlaybackTest, ATickPlaysOneSecondAtAnyAge) {
    Playback p(&model_);
    AmpsSeries amps(0);
    measure(amps, 0, 2600);
    for (double s : {0.0, 60.0, 600.0, 2400.0}) {
        p.at(s, amps);
        EXPECT_EQ(played(p, s + 1, amps), 1u) << s;
        EXPECT_EQ(played(p, s + 1.5, amps), 0u) << s;
    }
}

TEST_F(PlaybackTest, WhatIsLateIsPlayedFromShortlyBefore) {
    AmpsSeries amps(0);
    measure(amps, 0, 2401);
    Playback p(&model_);
    for (double s = 0; s <= 2400; ++s) p.at(s, amps);
    std::vector<Sign> signs{mark("dark", 112), mark("back", 150)};
    for (double late_s : {0.0, 1.0, 10.0, 45.0, 300.0, 1200.0}) {
        auto with = signs;
        with.push_back(mark("asks", 2400 - late_s));
        p.signs(with);
        const auto seconds = played(p, 2400, amps);
        p.signs(signs);  // and taken back
        p.at(2400, amps);
        if (late_s == 0) continue;  // the two marks of long ago were new as well
        EXPECT_LE(seconds, 3 * late_s + 4) << late_s;
        EXPECT_GE(seconds, late_s) << late_s;
    }
}

TEST_F(PlaybackTest, AReadingThatComesASecondLateCostsASecond) {
    AmpsSeries amps(0);
    measure(amps, 0, 2400);
    Playback p(&model_);
    for (double s = 0; s <= 2400; ++s) p.at(s, amps);
    const SupplySample late{2'399'900, 13.5, 2.4};
    p.current_changed(*amps.add(std::span(&late, 1)));
    EXPECT_LE(played(p, 2401, amps), 4u);
}

TEST_F(PlaybackTest, FewStatesAreKept) {
    AmpsSeries amps(0);
    Playback p(&model_);
    std::size_t most = 0;
    for (double s = 0; s <= 10'800; s += 1) {
        p.at(s, amps);
        most = std::max(most, p.kept());
    }
    EXPECT_GE(most, 10u);
    EXPECT_LE(most, 20u);
}

TEST_F(PlaybackTest, WhateverWasLateTheStateIsThatFromTheBeginning) {
    AmpsSeries amps(0);
    measure(amps, 0, 900);
    const std::vector<Sign> signs{mark("dark", 112), mark("back", 150), mark("still", 400), mark("asks", 700)};
    Playback straight(&model_);
    straight.signs(signs);
    const auto expected = all(*straight.at(800.4, amps).follower);
    Playback p(&model_);
    p.at(500, amps);
    p.signs({mark("dark", 112), mark("back", 150), mark("asks", 450)});
    p.at(600, amps);
    p.signs({mark("back", 150)});
    p.at(790, amps);
    p.at(300, amps);  // a clock that was set back
    p.signs({mark("dark", 112), mark("back", 150), mark("asks", 700)});
    p.at(799, amps);
    p.signs(signs);
    EXPECT_EQ(all(*p.at(800.4, amps).follower), expected);
}

}  // namespace
}  // namespace fettle::watch
