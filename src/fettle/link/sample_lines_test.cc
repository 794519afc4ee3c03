#include "fettle/link/sample_lines.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdio>
#include <filesystem>
#include <fstream>

#include "fettle/link/supply_source.h"

namespace fettle::link {
namespace {

constexpr UnixMs run = 1'764'061'380'000;  // 2025-11-25T09:03:00Z

SupplySample one(std::string_view line) {
    const auto s = parse_sample(line, 2, run + 500, run);
    EXPECT_TRUE(s && *s) << line;
    return s && *s ? **s : SupplySample{};
}

TEST(SampleLine, EveryForm) {
    EXPECT_EQ(one("61.5,13.50,2.28").t, run + 61'500);
    EXPECT_EQ(one("61.5;13.50;2.28").volts, 13.5);
    EXPECT_EQ(one("61.5\t13.50\t2.28").amps, 2.28);
    EXPECT_EQ(one("  61.5   13.50 2.28 \r").amps, 2.28);
    EXPECT_EQ(one("2025-11-25T09:03:01Z,13.50,2.28").t, run + 1000);
    EXPECT_EQ(one("2025-11-25T10:03:01+01:00,13.50,2.28").t, run + 1000);
    EXPECT_EQ(one("13.49,2.30").t, run + 500);
    EXPECT_FALSE(one("62.5,13.50,").has_amps());
    EXPECT_FALSE(one("62.5,nan,2").has_volts());
    EXPECT_FALSE(one("62.5,9.91E37,2").has_volts());  // SCPI-99: not a number
    EXPECT_EQ(one("1,13.5,-0.02").amps, 0);
}
TEST(SampleLine, WhatIsNoneIsToldByItsLine) {
    for (const char* line : {"hello", "13.5", "1,2,3,4", "1,13.5V,2", "1,13.5,two", "soon,13.5,2", "1,1e9,2",
                             "2025-13-45T09:03:01Z,13,2", "1e12,13,2", "\x01,2,3"}) {
        const auto s = parse_sample(line, 7, run, run);
        ASSERT_FALSE(s) << line;
        EXPECT_EQ(s.error().code, "sample-not-understood");
        EXPECT_EQ(s.error().place, "line 7");
    }
    for (const char* line : {"", "   ", "# any, words"}) EXPECT_FALSE(parse_sample(line, 7, run, run)->has_value());
    EXPECT_FALSE(parse_sample("time,volts,amps", 1, run, run)->has_value());
}
TEST(SampleLines, OneThatRunsBackwardsIsLeftOutAndTold) {
    SampleLines lines(run);
    lines.feed("1,13.5,2\n3,13.5,2.1\n2,13.4,9\n4,13.5,2.2\n", run + 10'000);
    const auto told = lines.take(run + 10'000);
    ASSERT_FALSE(told);
    EXPECT_EQ(told.error().code, "samples-run-backwards");
    EXPECT_EQ(told.error().place, "line 3");
    const auto rest = lines.take(run + 10'000);
    ASSERT_TRUE(rest);
    ASSERT_EQ(rest->size(), 3u);
    EXPECT_EQ(rest->back().amps, 2.2);
}
TEST(SampleLines, ARecordedTraceIsReplayedAlongTheClock) {
    SampleLines lines(run);
    lines.feed("10,13.5,2\n20,13.5,1\n30,13.5,0.4\n", run);
    EXPECT_EQ(lines.take(run + 9'000)->size(), 0u);
    EXPECT_EQ(lines.take(run + 20'000)->size(), 2u);
    EXPECT_EQ(lines.waiting(), 1u);
}
TEST(SampleLines, HalfALineWaitsForItsRest) {
    SampleLines lines(run);
    lines.feed("1,13.5,2\n2,13", run + 9000);
    EXPECT_EQ(lines.take(run + 9000)->size(), 1u);
    lines.feed(".4,2.5\n", run + 9000);
    EXPECT_EQ(lines.take(run + 9000)->front().volts, 13.4);
}
TEST(SampleLines, ALineWithoutEndKeepsNothingAndEndsNothing) {
    SampleLines lines(run);
    for (int i = 0; i < 1000; ++i) lines.feed(std::string(1000, '7'), run);
    EXPECT_EQ(lines.take(run).error().code, "sample-not-understood");
    lines.feed("\n1,13.5,2\n", run + 5000);
    EXPECT_EQ(lines.take(run + 5000)->size(), 1u);
}
// However the bytes are cut into pieces, the samples are the same.
RC_GTEST_PROP(SampleLinesProperty, CutsDoNotMatter, ()) {
    const std::string text = "# t\n0.5,13.5,2\n\n1.5;13.4;2.1\nbad\n2.5 13.3 2.2\n1,1,1\n9,12,\n";
    SampleLines whole(run), parts(run);
    whole.feed(text, run + 60'000);
    for (std::size_t at = 0; at < text.size();) {
        const auto n = static_cast<std::size_t>(*rc::gen::inRange(1, 9));
        parts.feed(std::string_view(text).substr(at, n), run + 60'000);
        at += n;
    }
    const auto a = whole.take(run + 60'000), b = parts.take(run + 60'000);
    RC_ASSERT(!a && !b);
    RC_ASSERT(a.error().message() == b.error().message());
    const auto x = whole.take(run + 60'000), y = parts.take(run + 60'000);
    RC_ASSERT(x->size() == 4u);
    RC_ASSERT(y->size() == 4u);
    for (std::size_t i = 0; i < 4; ++i) RC_ASSERT((*x)[i].t == (*y)[i].t);
}

// --- files and pipes -------------------------------------------------------------------------------------------------

class Source : public ::testing::Test {
protected:
    Source() {
        char name[] = "/tmp/fettle-samples-XXXXXX";
        folder_ = ::mkdtemp(name);
    }
    ~Source() override { std::filesystem::remove_all(folder_); }
    std::filesystem::path folder_;
    ManualClock clock_{run + 100'000};
};
TEST_F(Source, AFileIsReadOnAsItGrows) {
    const auto path = folder_ / "trace.csv";
    std::ofstream(path) << "time,volts,amps\n1,13.5,2\n2,13.5";
    auto s = open_supply("file:" + path.string(), clock_, run);
    ASSERT_TRUE(s);
    EXPECT_EQ((*s)->take()->size(), 1u);
    EXPECT_EQ((*s)->take()->size(), 0u);
    std::ofstream(path, std::ios::app) << ",2.2\n3,13.5,2.3\n";
    EXPECT_EQ((*s)->take()->size(), 2u);
}
TEST_F(Source, APipeNobodyWritesToIsNotWaitedFor) {
    const auto path = folder_ / "pipe";
    ASSERT_EQ(::mkfifo(path.c_str(), 0600), 0);
    auto s = open_supply(path.string(), clock_, run);
    ASSERT_TRUE(s);
    EXPECT_EQ((*s)->take()->size(), 0u);
    {
        std::ofstream out(path);
        out << "13.5,2.0\n" << std::flush;
        const auto got = (*s)->take();
        ASSERT_EQ(got->size(), 1u);
        EXPECT_EQ(got->front().t, clock_.now());
    }
    EXPECT_EQ((*s)->take()->size(), 0u);  // the writer went
    std::ofstream(path) << "13.4,2.1\n";  // and another came
    EXPECT_EQ((*s)->take()->size(), 1u);
}
TEST_F(Source, WhatIsNoFileIsRefused) {
    for (const std::string& text :
         {folder_.string(), (folder_ / "none").string(), std::string("file:"), std::string()}) {
        const auto s = open_supply(text, clock_, run);
        ASSERT_FALSE(s) << text;
        EXPECT_EQ(s.error().code, "samples-not-readable");
    }
    EXPECT_EQ(open_supply("scpi://", clock_, run).error().code, "bad-supply-address");
}
TEST_F(Source, ADeviceWithoutAnyLineIsBounded) {
    auto s = open_supply("/dev/zero", clock_, run);
    ASSERT_TRUE(s);
    EXPECT_FALSE((*s)->take());
}

}  // namespace
}  // namespace fettle::link
