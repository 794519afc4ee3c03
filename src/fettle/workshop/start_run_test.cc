#include "fettle/workshop/start_run.h"

#include <gtest/gtest.h>

#include <functional>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class StartRun : public ::testing::Test {
protected:
    StartRequest against() const {
        StartRequest r;
        r.job = t_.number;
        r.by = "R";
        r.against_halt = true;
        return r;
    }
    TestJob t_;
};

// Somebody else acts at the moment at which the time is asked for, once: between the reading and the appending.
class MeanwhileClock final : public Clock {
public:
    explicit MeanwhileClock(const Clock& clock, std::function<void()> act) : clock_(clock), act_(std::move(act)) {}
    UnixMs now() const override {
        if (auto act = std::exchange(act_, nullptr)) act();
        return clock_.now();
    }

private:
    const Clock& clock_;
    mutable std::function<void()> act_;
};

TEST_F(StartRun, WhatStandsAgainstItIsKeptAndNothingIsBegun) {
    StartRequest r = against();
    r.against_halt = false;
    const Started s = must(start_run(t_.shop, r));
    EXPECT_FALSE(s.begun);
    EXPECT_FALSE(s.standing.empty());
    EXPECT_EQ(t_.entries_of("ready"), 1u);
    EXPECT_TRUE(t_.job().runs.empty());
}

TEST_F(StartRun, BegunAgainstAHaltItIsRecordedAsSuchWithWhatReadyFound) {
    StartRequest r = against();
    r.ago_s = 90;
    const Started s = must(start_run(t_.shop, r));
    EXPECT_TRUE(s.begun);
    EXPECT_TRUE(s.standing.empty());
    const book::Job job = t_.job();
    ASSERT_EQ(job.runs.size(), 1u);
    EXPECT_TRUE(job.runs[0].against_halt);
    EXPECT_EQ(job.runs[0].by, "R");
    EXPECT_EQ(job.runs[0].step, 1);
    EXPECT_EQ(job.runs[0].release, "27.3.118");
    EXPECT_EQ(job.runs[0].started, t_.clock.at - 90'000);
    EXPECT_EQ(must(plan::expected_from(job.runs[0].expected)).sheet.lines.size(), t_.step().sheet.lines.size());
    EXPECT_TRUE(job.ready_checked);
    EXPECT_EQ(job.ready_step, 1);
}

TEST_F(StartRun, NeedsANameAndNoOpenRun) {
    StartRequest r = against();
    r.by = " ";
    EXPECT_EQ(start_run(t_.shop, r).error().code, "start-without-name");
    t_.run("");
    r.by = "R";
    const auto again = start_run(t_.shop, r);
    ASSERT_FALSE(again);
    EXPECT_EQ(again.error().code, "run-open");
    ASSERT_NE(again.error().next.proposal(), nullptr);
    EXPECT_EQ(again.error().next.proposal()->act, Act::mark);
}

TEST_F(StartRun, NoneBeginsBeforeTheEndOfTheOneBefore) {
    t_.run("broken off");
    StartRequest r = against();
    r.ago_s = 60;
    EXPECT_EQ(start_run(t_.shop, r).error().code, "ago-too-long");
    t_.clock.at += 120'000;
    EXPECT_TRUE(must(start_run(t_.shop, r)).begun);
}

TEST_F(StartRun, TwoWhoStartAtOnceStartOneRun) {
    Workshop other = t_.shop;
    const MeanwhileClock clock(t_.clock, [&] { must(start_run(other, against())); });
    Workshop ours = t_.shop;
    ours.clock = &clock;
    const auto second = start_run(ours, against());
    ASSERT_FALSE(second);
    EXPECT_EQ(second.error().code, "run-open");
    EXPECT_EQ(t_.entries_of("started"), 1u);
}

TEST_F(StartRun, WhatMovesTheJournalElseDoesNotKeepItFromStarting) {
    const MeanwhileClock clock(t_.clock, [&] { t_.add("note", {{"text", "the owner rang"}}); });
    Workshop ours = t_.shop;
    ours.clock = &clock;
    EXPECT_TRUE(must(start_run(ours, against())).begun);
    EXPECT_EQ(t_.entries_of("started"), 1u);
    EXPECT_EQ(t_.entries_of("ready"), 1u);
}

}  // namespace
}  // namespace fettle::workshop
