#include "fettle/watch/strip.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <sstream>

#include "fettle/base/source_path.h"
#include "fettle/base/text.h"
#include "fettle/watch/example_run.h"
#include "fettle/watch/picture.h"

namespace fettle::watch {
namespace {

constexpr UnixMs kStart = 1'800'000'000'000;

const ExampleRun& example() {
    static const ExampleRun run = [] {
        ExampleRun r;
        r.fix_durations();
        return r;
    }();
    return run;
}
Step step() {
    const ExampleRun& r = example();
    return {r.family, r.sheet, r.forecast, r.map};
}

std::size_t columns(const std::string& s) {
    std::size_t n = 0;
    for (char c : s) n += (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    return n;
}

struct Scene {
    Observed seen;
    UnixMs now = 0;
    std::vector<SeriesPoint> samples;
};

// Three instants of one run: before the first mark, at the ask, after the end with measured current.
Scene scene(int which) {
    Scene s;
    s.seen.started = kStart;
    const auto mark = [&](const char* e, double at) {
        s.seen.marks.push_back({e, kStart + static_cast<UnixMs>(at * 1000), "tap", false});
    };
    if (which == 0) {
        s.now = kStart + 40'000;
        return s;
    }
    mark("dark", 121);
    mark("back", 158);
    mark("asks", 560);
    s.now = kStart + 570'000;
    if (which == 1) return s;
    mark("answered", 590);
    mark("dark", 780);
    mark("ended", 845);
    s.now = kStart + 860'000;
    for (double t = 0; t < 845; t += 5) s.samples.push_back({t, t > 121 && t < 158 ? 0.9 : 2.2 + 0.3 * (t > 590)});
    return s;
}

std::string drawn(const Scene& s, const StripStyle& style = {}) {
    std::string out;
    for (const std::string& l : strip(step(), s.seen, track(step(), s.seen, s.now), s.now, s.samples, style))
        out += l + "\n";
    return out;
}

class StripAt : public testing::TestWithParam<int> {};

// The golden file is what the strip looked like when somebody looked at it. FETTLE_GOLDEN=write renews it.
TEST_P(StripAt, LooksAsItWasApproved) {
    const std::string file = source_path("tests/data/watch/strip-") + std::to_string(GetParam()) + ".txt";
    const std::string now = drawn(scene(GetParam()));
    if (std::getenv("FETTLE_GOLDEN")) std::ofstream(file) << now;
    std::ifstream in(file);
    ASSERT_TRUE(in) << file;
    std::stringstream approved;
    approved << in.rdbuf();
    EXPECT_EQ(now, approved.str());
}

TEST_P(StripAt, NeverWiderThanAsked) {
    for (int width : {48, 60, 72, 80, 100, 160}) {
        for (bool ascii : {false, true}) {
            for (const std::string& l : split(drawn(scene(GetParam()), {width, ascii}), '\n'))
                EXPECT_LE(columns(l), static_cast<std::size_t>(width)) << l;
        }
    }
}

TEST_P(StripAt, AsciiIsAscii) {
    for (char c : drawn(scene(GetParam()), {80, true})) EXPECT_LT(static_cast<unsigned char>(c), 0x80);
}

TEST_P(StripAt, ShowsNoPercent) {
    EXPECT_EQ(drawn(scene(GetParam())).find('%'), std::string::npos);
    const Scene s = scene(GetParam());
    const std::string svg = strip_svg(step(), s.seen, track(step(), s.seen, s.now), s.now, s.samples);
    EXPECT_EQ(svg.find('%'), std::string::npos);
}

TEST_P(StripAt, SvgIsOneElementWithoutScriptsOrLinks) {
    const Scene s = scene(GetParam());
    const std::string svg = strip_svg(step(), s.seen, track(step(), s.seen, s.now), s.now, s.samples);
    EXPECT_EQ(svg.rfind("<svg ", 0), 0u);
    EXPECT_EQ(svg.find("</svg>"), svg.size() - 7);
    for (const char* bad : {"<script", "href", "<image", "@import"}) EXPECT_EQ(svg.find(bad), std::string::npos) << bad;
}

INSTANTIATE_TEST_SUITE_P(Instants, StripAt, testing::Values(0, 1, 2));

TEST(Strip, SaysWhatIsAhead) {
    const std::string s = drawn(scene(0));
    for (const char* part : {"now", "hand", "╱", "░", "If power went now: ", "min"})
        EXPECT_NE(s.find(part), std::string::npos) << part;
}

TEST(Strip, HandIsNowAtTheAsk) {
    EXPECT_NE(drawn(scene(1)).find("hand NOW"), std::string::npos);
}

// Asked for long after the usual reach, at every width: the words for the hand never run into each other.
TEST(Strip, HandNowIsWrittenWhole) {
    for (const int width : {60, 80, 120}) {
        for (const double late_s : {1.0, 60.0, 400.0, 900.0}) {
            Scene s = scene(1);
            s.seen.shown.push_back({"Turn the knob to go on", kStart + 300'000});
            s.seen.marks.back().at = s.now + static_cast<UnixMs>(late_s * 500);
            s.now += static_cast<UnixMs>(late_s * 1000);
            const std::string text = drawn(s, {width, false});
            const auto at = text.find("hand NOW");
            ASSERT_NE(at, std::string::npos) << text;
            const std::string line =
                text.substr(text.rfind('\n', at) + 1, text.find('\n', at) - text.rfind('\n', at) - 1);
            EXPECT_EQ(trim(line), "hand NOW") << text;
        }
    }
}

TEST(Strip, AfterTheEndThereIsNoNow) {
    const std::string s = drawn(scene(2));
    EXPECT_EQ(s.find("┃"), std::string::npos);
    EXPECT_EQ(s.find("If power went now"), std::string::npos);
    EXPECT_EQ(s.find("not measured"), std::string::npos);  // the current was
}

TEST(Strip, HostileTextsOfTheBoxStayText) {
    Scene s = scene(1);
    s.seen.marks.push_back({"<script>", s.now, "tap", false});
    const std::string svg = strip_svg(step(), s.seen, track(step(), s.seen, s.now), s.now);
    EXPECT_EQ(svg.find("<script"), std::string::npos);
}

Picture picture_of(const Scene& s, std::span<const SeriesPoint> samples) {
    return picture(step(), Positions(step()), s.seen, track(step(), s.seen, s.now), samples);
}

TEST(Strip, SamplesThatAreNoNumbersAreLeftOut) {
    Scene s = scene(1);
    const std::pair<double, double> readings[] = {{10, std::nan("")}, {20, -3}, {40, 2}, {35, 1e300},
                                                  {1e7, 2},           {-5, 2},  {30, 5}};
    for (const auto& [at_s, amps] : readings)
        s.seen.supply.push_back({kStart + static_cast<UnixMs>(at_s * 1000), 13.5, amps});
    const auto samples = strip_samples(s.seen);
    ASSERT_EQ(samples.size(), 3u);
    EXPECT_EQ(samples[0].value, 5);
    const Picture p = picture_of(s, samples);
    EXPECT_EQ(p.samples.size(), 2u);  // the third lies ahead
    EXPECT_EQ(p.measured_A(25, 45), 3.5);
    EXPECT_EQ(p.measured_A(30, 40), 5);
    EXPECT_EQ(p.measured_A(41, 50), -1);
}

TEST(Picture, TheHatchedStretchIsTheMapsOwn) {
    Scene s = scene(1);
    const Picture p = picture_of(s, {});
    double hatched = 0;
    for (const Patch& x : p.patches) hatched += x.ground == Ground::no_way_back ? x.to_s - x.from_s : 0;
    EXPECT_NEAR(hatched, example().map.no_way_back_p50_s, 0.25 * example().map.no_way_back_p50_s);
    EXPECT_EQ(p.ground(159, 162), Ground::no_way_back);  // right after "back": the start code
    EXPECT_EQ(p.ground(300, 310), Ground::firm);
}

TEST(Picture, TicksAreRoundMinutes) {
    EXPECT_EQ(tick_minutes(600, 8), 2);
    EXPECT_EQ(tick_minutes(3600, 8), 10);
    EXPECT_EQ(tick_minutes(60, 8), 1);
    EXPECT_LE(1e18 / 60 / tick_minutes(1e18, 8), 8);
}

}  // namespace
}  // namespace fettle::watch
