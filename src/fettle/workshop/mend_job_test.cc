#include "fettle/workshop/mend_job.h"

#include <gtest/gtest.h>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class MendJob : public ::testing::Test {
protected:
    MendJob() { request_.job = t_.number; }
    TestJob t_;
    MendRequest request_;
};

TEST_F(MendJob, NeedsARun) {
    const auto m = mend_job(t_.shop, request_);
    ASSERT_FALSE(m);
    EXPECT_EQ(m.error().code, "no-run");
}

TEST_F(MendJob, DarkTooEarlyTellsNothingAndIsNotKept) {
    t_.run("broken off");
    request_.power = mend::Power::lost;
    request_.now = mend::Now::dark;
    const auto without_length = mend_job(t_.shop, request_);
    ASSERT_FALSE(without_length);
    EXPECT_EQ(without_length.error().code, "mend-word");
    request_.dark_for_s = 5;
    const Mended early = must(mend_job(t_.shop, request_));
    ASSERT_TRUE(early.dark_early);
    EXPECT_GE(early.dark_early->good_run_s, 60);
    ASSERT_TRUE(t_.job().runs.back().aftermath);
    EXPECT_EQ(t_.job().runs.back().aftermath->now, "");
    EXPECT_EQ(t_.job().runs.back().aftermath->power, "lost");
    request_.dark_for_s = 3600;
    const Mended late = must(mend_job(t_.shop, request_));
    EXPECT_FALSE(late.dark_early);
    EXPECT_EQ(t_.job().runs.back().aftermath->now, "dark");
}

TEST_F(MendJob, WhatWasSaidEarlierCountsUntilSomethingElseIsSaid) {
    t_.run("broken off");
    request_.power = mend::Power::lost;
    must(mend_job(t_.shop, request_));
    request_.power.reset();
    EXPECT_TRUE(must(mend_job(t_.shop, request_)).power_went);
    request_.power = mend::Power::kept;
    EXPECT_FALSE(must(mend_job(t_.shop, request_)).power_went);
}

TEST_F(MendJob, ARunThatEndedNeedsNoMending) {
    t_.run();
    const Mended m = must(mend_job(t_.shop, request_));
    EXPECT_TRUE(m.answer.nothing_to_mend);
    EXPECT_EQ(t_.entries_of("advised"), 0u);
}

TEST_F(MendJob, TheTroubleCannotBeOlderThanTheRun) {
    t_.run("");
    request_.broke_ago_s = 2 * 3600;  // it began half an hour ago
    const auto m = mend_job(t_.shop, request_);
    ASSERT_FALSE(m);
    EXPECT_EQ(m.error().code, "ago-too-long");
}

TEST_F(MendJob, ARunBegunAgainCountsAsTheSameCardTried) {
    t_.run("broken off");
    EXPECT_TRUE(tried_of(t_.job()).empty());
    t_.run("broken off");
    const auto tried = tried_of(t_.job());
    ASSERT_EQ(tried.size(), 1u);
    EXPECT_EQ(tried[0].kind, MendKind::same_card);
    t_.add("attempt", {{"kind", "wait"}, {"came", "nothing"}, {"by", "R"}});
    EXPECT_EQ(tried_of(t_.job()).size(), 2u);
}

// A run whose start was kept without a plan, of an older journal: nothing is offered, and it is not called mended.
TEST_F(MendJob, ARunOfAStepThatNobodyKnowsIsHandedOver) {
    t_.add("started", {{"release", "27.9.999"}, {"by", "R"}});
    t_.clock.at += 60'000;
    t_.add("ended", {{"outcome", "broken off"}});
    const Mended m = must(mend_job(t_.shop, request_));
    EXPECT_TRUE(m.answer.stop);
    EXPECT_EQ(m.judgement.verdict(), Verdict::cant_say);
}

}  // namespace
}  // namespace fettle::workshop
