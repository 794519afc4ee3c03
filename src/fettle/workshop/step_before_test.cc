#include "fettle/workshop/step_before.h"

#include <gtest/gtest.h>

#include "fettle/workshop/after.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class StepBefore : public ::testing::Test {
protected:
    // What speaks against a second step, which follows the planned one.
    std::optional<Reason> asked() {
        run_ = must(load_job_run(t_.shop, t_.number));
        run_.plan.steps.push_back(run_.plan.steps.front());
        run_.plan.steps.back().release.release = "28.1.001";
        if (change_) change_(run_.job);
        return step_before(run_, run_.plan.steps.back());
    }
    std::string code() {
        const auto r = asked();
        return r ? r->code : "";
    }
    // Every piece as the first step leaves it; `but` with another version.
    void leave(const std::string& but = {}) {
        const plan::PlanStep& s = t_.step();
        std::string lines;
        for (const Installed& p : change::after(s.sheet, s.release, s.installed).pieces)
            lines += p.box + " " + p.name + " " + (p.name == but ? "0.0" : p.version) + "\n";
        must(keep_as_left(t_.shop, {t_.number, ListText{lines, "list"}, "27.3.118", {}}));
    }
    TestJob t_;
    JobRun run_;
    std::function<void(book::Job&)> change_;
};

TEST_F(StepBefore, NothingComesBeforeTheFirstStepOrOneOfNoPlan) {
    EXPECT_EQ(code(), "step-before-open");
    EXPECT_FALSE(step_before(run_, run_.plan.steps.front()));
    const plan::PlanStep of_no_plan = run_.plan.steps.back();
    EXPECT_FALSE(step_before(run_, of_no_plan));
}

TEST_F(StepBefore, OneThatWasNotRunToItsEndHalts) {
    const auto none = asked();
    ASSERT_TRUE(none);
    EXPECT_EQ(none->verdict, Verdict::halt);
    EXPECT_EQ(none->text, "step 1 to 27.3.118 was not run to its end");
    t_.run("broken off");
    EXPECT_EQ(code(), "step-before-open");
    t_.run("");
    EXPECT_EQ(code(), "step-before-open");
}

TEST_F(StepBefore, AnEndThatCameTooEarlyIsNone) {
    t_.run();
    EXPECT_EQ(code(), "step-before-not-proved");
    change_ = [](book::Job& j) { j.runs.back().early = true; };
    EXPECT_EQ(code(), "step-before-open");
}

TEST_F(StepBefore, EndedAndNotProvedIsMindAndSaysHowToProveIt) {
    t_.run();
    const auto r = asked();
    ASSERT_TRUE(r);
    EXPECT_EQ(r->code, "step-before-not-proved");
    EXPECT_EQ(r->verdict, Verdict::mind);
    ASSERT_TRUE(r->next.proposal());
    EXPECT_EQ(*r->next.proposal(), propose(Act::prove, {job(t_.number)}));
}

TEST_F(StepBefore, OnlyTheWordProvedSettlesIt) {
    t_.run();
    leave();
    EXPECT_EQ(code(), "step-before-not-proved");
    change_ = [](book::Job& j) { j.proved = "partly"; };
    EXPECT_EQ(code(), "step-before-not-proved");
    change_ = [](book::Job& j) { j.proved = "proved"; };
    EXPECT_EQ(code(), "");
}

TEST_F(StepBefore, WhatItHasNotLeftHaltsWhateverWasProvedEarlier) {
    t_.run();
    const std::string wrong = t_.step().release.pieces.front().name;
    leave(wrong);
    change_ = [](book::Job& j) { j.proved = "proved"; };
    const auto r = asked();
    ASSERT_TRUE(r);
    EXPECT_EQ(r->code, "step-before-failed");
    EXPECT_EQ(r->verdict, Verdict::halt);
    EXPECT_NE(r->text.find(wrong), std::string::npos) << r->text;
}

TEST_F(StepBefore, ALaterRunTellsOfTheBoxNow) {
    t_.run();
    leave(t_.step().release.pieces.front().name);
    change_ = [](book::Job& j) {
        j.runs.push_back(j.runs.back());
        j.runs.back().release = "28.1.001";
    };
    EXPECT_EQ(code(), "");
}

}  // namespace
}  // namespace fettle::workshop
