#include "fettle/workshop/mark_run.h"

#include <gtest/gtest.h>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class MarkRun : public ::testing::Test {
protected:
    Result<Marked> mark(const std::string& event, double ago_s = 0) {
        MarkRequest r;
        r.job = t_.number;
        r.event = event;
        r.ago_s = ago_s;
        return mark_run(t_.shop, r);
    }
    Result<Marked> undo() {
        MarkRequest r;
        r.job = t_.number;
        r.undo = true;
        return mark_run(t_.shop, r);
    }
    Result<Marked> count(const std::string& tally) {
        MarkRequest r;
        r.job = t_.number;
        r.tally = tally;
        return mark_run(t_.shop, r);
    }
    Result<Marked> text(const std::string& shows) {
        MarkRequest r;
        r.job = t_.number;
        r.shows = shows;
        return mark_run(t_.shop, r);
    }
    std::string refusal(Result<Marked> marked) { return marked ? "" : marked.error().code; }
    TestJob t_;
};

TEST_F(MarkRun, WhatTheAnswerSaysIsWhatTheJournalHolds) {
    t_.run("");
    t_.clock.at -= 24 * 60'000;  // six minutes after the start: so long the step takes until it asks
    const Marked m = must(mark("asks"));
    EXPECT_EQ(m.sign, Sign::event);
    EXPECT_EQ(m.words, "asks");
    EXPECT_EQ(m.look.where.act, "asks");
    EXPECT_TRUE(m.look.where.by_mark);
    ASSERT_EQ(m.look.run.marks.size(), 1u);
    EXPECT_EQ(t_.job().runs.back().marks.size(), 1u);
}

TEST_F(MarkRun, TheLastSignOfWhateverKindIsTakenBack) {
    t_.run("");
    EXPECT_EQ(refusal(undo()), "nothing-to-undo");
    must(mark("dark"));
    must(text("Writing"));
    must(count("landed=1"));
    EXPECT_EQ(must(undo()).sign, Sign::tally);
    const Marked second = must(undo());
    EXPECT_EQ(second.sign, Sign::text);
    EXPECT_EQ(second.words, "Writing");
    EXPECT_TRUE(second.taken_back);
    EXPECT_EQ(must(undo()).words, "dark");
    EXPECT_EQ(refusal(undo()), "nothing-to-undo");
    const book::Run& run = t_.job().runs.back();
    EXPECT_TRUE(run.marks.at(0).undone);
    EXPECT_TRUE(run.shown.empty());
    EXPECT_TRUE(run.tally.empty());
}

TEST_F(MarkRun, AnEndIsKeptOnceWithItsTime) {
    t_.run("");
    const Marked m = must(mark("ended"));
    EXPECT_EQ(m.look.where.state, RunState::ended);
    ASSERT_TRUE(m.look.run.times);
    EXPECT_EQ(m.look.run.times->seconds, 1800);
    EXPECT_EQ(m.look.run.times->promised_p90_s, t_.step().forecast.total.p90_s);
    must(mark("ended"));  // a second tap
    EXPECT_EQ(t_.entries_of("ended"), 1u);
    EXPECT_EQ(t_.entries_of("times"), 1u);
    EXPECT_EQ(t_.entries_of("mark"), 2u);
}

TEST_F(MarkRun, AfterItsEndARunTakesOnlyWhatWasSeenBefore) {
    EXPECT_EQ(refusal(mark("dark")), "no-run");
    t_.run("broken off");
    t_.clock.at += 60'000;
    EXPECT_EQ(refusal(mark("broken-off")), "run-ended");
    EXPECT_EQ(refusal(mark("dark")), "run-ended");
    EXPECT_EQ(must(mark("dark", 600)).look.where.state, RunState::broken_off);
    t_.add("handover", {{"file", "f"}, {"sheet_sha256", "s"}, {"key", "k"}});
    EXPECT_EQ(refusal(mark("dark", 600)), "handed-over");
}

TEST_F(MarkRun, WhatCannotBeIsRefusedAndNotKept) {
    t_.run("");
    const auto before = t_.job().last_number;
    EXPECT_EQ(refusal(mark("explodes")), "event-unknown");
    EXPECT_EQ(refusal(mark("dark", 9999)), "ago-too-long");
    const int total = t_.step().sheet.tally.total;
    const auto more = count("landed=" + std::to_string(100 * total));
    ASSERT_FALSE(more);
    EXPECT_EQ(more.error().code, "tally-impossible");
    EXPECT_EQ(refusal(count("landed=many")), "tally-unreadable");
    MarkRequest both;
    both.job = t_.number;
    both.event = "dark";
    both.undo = true;
    EXPECT_EQ(refusal(mark_run(t_.shop, both)), "mark-not-single");
    both.event.clear();
    both.undo = false;
    EXPECT_EQ(refusal(mark_run(t_.shop, both)), "mark-not-single");
    MarkRequest how;
    how.job = t_.number;
    how.event = "dark";
    how.with = "press";
    EXPECT_EQ(refusal(mark_run(t_.shop, how)), "mark-not-answered");
    EXPECT_EQ(t_.job().last_number, before);
    EXPECT_TRUE(mark("dark", 1799));
}

TEST_F(MarkRun, ATextThatNobodyKnowsIsKeptWordForWord) {
    t_.run("");
    const Marked m = must(text("Flux 77"));
    ASSERT_TRUE(m.meaning);
    EXPECT_FALSE(m.meaning->known);
    EXPECT_EQ(t_.job().runs.back().shown, std::vector<std::string>{"Flux 77"});
}

}  // namespace
}  // namespace fettle::workshop
