#include "fettle/workshop/stay_with_run.h"

#include <gtest/gtest.h>

#include "fettle/base/files.h"
#include "fettle/workshop/attach_to_run.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

const alarm::Means kSilent{false, false, false, ""};

class Stay : public ::testing::Test {
protected:
    std::unique_ptr<StayWithRun> stay(const std::string& supply = {}) {
        StayRequest r;
        r.job = t_.number;
        r.supply = supply;
        r.means = kSilent;
        return must(StayWithRun::begin(t_.shop, r));
    }
    void mark(const char* event) { t_.add("mark", {{"event", event}, {"source", "tap"}}); }
    // HH seconds since the start, volts, amps.
    std::string readings(int from_s, int to_s, double volts) {
        std::string text;
        for (int s = from_s; s < to_s; ++s) text += std::to_string(s) + "," + std::to_string(volts) + ",2.2\n";
        const auto file = t_.folder / "readings.csv";
        must(write_file_durably(file, text));
        return file.string();
    }
    TestJob t_;
};

TEST_F(Stay, NeedsARun) {
    StayRequest r;
    r.job = t_.number;
    EXPECT_EQ(StayWithRun::begin(t_.shop, r).error().code, "no-run");
}

TEST_F(Stay, AMarkOfAnotherTerminalIsSeenAtTheNextTickAndItsCallIsMadeOnce) {
    t_.run("");
    t_.clock.at -= 24 * 60'000;  // six minutes after the start: so long the step takes until it asks
    const auto run = stay();
    const auto before = run->tick();
    EXPECT_FALSE(before.over);
    EXPECT_FALSE(before.where.by_mark);
    mark("asks");
    t_.clock.at += 60'000;
    const auto asks = run->tick();
    EXPECT_EQ(asks.where.act, "asks");
    EXPECT_TRUE(asks.where.by_mark);
    ASSERT_TRUE(asks.call);
    EXPECT_EQ(t_.entries_of("called"), 1u);
    EXPECT_FALSE(run->tick().call);
    EXPECT_EQ(t_.entries_of("called"), 1u);
    const auto another = stay();  // a watch that was begun again does not begin the ladder again
    EXPECT_FALSE(another->tick().call);
}

TEST_F(Stay, ARunThatEndsIsOverAndIsLookedAtOnceMore) {
    t_.run("");
    const auto run = stay();
    EXPECT_FALSE(run->tick().over);
    t_.add("ended", {{"outcome", "broken off"}});
    const auto over = run->tick();
    EXPECT_TRUE(over.over);
    EXPECT_FALSE(over.call);
    const RunLook last = must(run->end());
    EXPECT_EQ(last.where.state, RunState::broken_off);
    EXPECT_EQ(last.where.sentence, over.where.sentence);
}

TEST_F(Stay, AnotherRunThatWasBegunIsNotThisOne) {
    t_.run("");
    const auto run = stay();
    run->tick();
    t_.add("ended", {{"outcome", "ended"}});
    t_.add("started", {{"release", "27.3.118"}});
    const auto over = run->tick();
    EXPECT_TRUE(over.over);
    EXPECT_EQ(over.where.state, RunState::ended);
    EXPECT_EQ(must(run->end()).run.outcome, RunState::ended);
}

TEST_F(Stay, AHoldThatTheReadingsShowBrokenIsSaidAndKeptBeforeTheTickIsDone) {
    t_.run("");
    const auto run = stay(readings(1790, 1800, 9.0));
    const auto tick = run->tick();
    ASSERT_EQ(tick.breaches.size(), 1u);
    EXPECT_EQ(t_.entries_of("breach"), 1u);
    EXPECT_EQ(tick.where.judgement.reasons.back().code, "hold-broken");
    EXPECT_TRUE(run->tick().breaches.empty());
    EXPECT_NE(tick.where.rests_on.find("supply current"), std::string::npos);
}

// One watch records, another one without a source of its own looks on: both are at the same place.
TEST_F(Stay, WithoutASourceItReadsWhatAnotherWatchRecords) {
    t_.run("");
    const auto looks_on = stay();
    EXPECT_EQ(looks_on->tick().where.rests_on.find("supply current"), std::string::npos);
    const auto records = stay(readings(1500, 1790, 13.5));
    const auto told = records->tick();
    const auto seen = looks_on->tick();
    EXPECT_NE(seen.where.rests_on.find("supply current"), std::string::npos);
    EXPECT_EQ(seen.where.sentence, told.where.sentence);
    EXPECT_EQ(seen.where.rests_on, told.where.rests_on);
}

TEST_F(Stay, AJournalThatCannotBeReadEndsNoWatch) {
    t_.run("");
    const auto run = stay();
    run->tick();
    const std::size_t troubles = run->tick().troubles.size();
    std::filesystem::rename(t_.shop.home, t_.folder / "away");
    const auto blind = run->tick();
    EXPECT_FALSE(blind.over);
    EXPECT_EQ(blind.troubles.size(), troubles + 1);
    EXPECT_NE(blind.troubles.back().find("cannot be read now"), std::string::npos);
    std::filesystem::rename(t_.folder / "away", t_.shop.home);
    EXPECT_EQ(run->tick().troubles.size(), troubles);
}

TEST_F(Stay, WhoIsAttachedHearsTheBeatsAndNotThatTheWatchIsGone) {
    t_.run("");
    auto run = stay();
    run->tick();
    AttachRequest request;
    request.job = t_.number;
    request.patience_s = 0.05;
    request.means = kSilent;
    const auto attached = must(AttachToRun::begin(t_.shop, request));
    EXPECT_FALSE(attached->tick().silent_s);
    run->tick();
    EXPECT_FALSE(attached->tick().silent_s);
    EXPECT_EQ(attached->where().sentence, run->tick().where.sentence);
    run.reset();  // as if it were killed
    AttachToRun::Tick tick = attached->tick();
    for (int i = 0; i < 50 && !tick.silent_s; ++i) {
        ::usleep(10'000);
        tick = attached->tick();
    }
    ASSERT_TRUE(tick.silent_s);
    EXPECT_NE(tick.words.find("Go to the box"), std::string::npos);
    t_.add("ended", {{"outcome", "ended"}});
    EXPECT_TRUE(attached->tick().over);
    EXPECT_FALSE(attached->tick().silent_s);
}

TEST_F(Stay, ATestCallWithoutAnyMeansSaysSo) {
    const TestCalled called = must(test_call(t_.shop, t_.number, kSilent));
    EXPECT_TRUE(called.rung.by.empty());
}

}  // namespace
}  // namespace fettle::workshop
