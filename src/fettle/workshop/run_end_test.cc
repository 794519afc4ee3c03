#include "fettle/workshop/run_end.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/workshop/mark_run.h"
#include "fettle/workshop/mend_job.h"
#include "fettle/workshop/run_times.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class RunEnd : public ::testing::Test {
protected:
    void begin() { t_.add("started", {{"release", "27.3.118"}, {"by", "R"}, {"expected", expected()}}); }
    json::object expected() const { return plan::expected_as_json(t_.step()); }
    void pass_s(double s) {
        t_.clock.at += static_cast<UnixMs>(1000 * s);
        up_s_ += s;
    }
    void set_clock_s(double by_s) { t_.clock.at += static_cast<UnixMs>(1000 * by_s); }
    void keep_uptime() {
        t_.shop.uptime = [this] { return Uptime{"0000feed", up_s_}; };
    }
    Result<Marked> mark(const std::string& event) {
        MarkRequest r;
        r.job = t_.number;
        r.event = event;
        return mark_run(t_.shop, r);
    }
    Result<Marked> lasted(const std::string& how_long) {
        MarkRequest r;
        r.job = t_.number;
        r.lasted = how_long;
        r.by = "R";
        return mark_run(t_.shop, r);
    }
    Result<Marked> undo() {
        MarkRequest r;
        r.job = t_.number;
        r.undo = true;
        return mark_run(t_.shop, r);
    }
    std::size_t own_runs() const {
        const auto all = own_runs_of(t_.shop, "dunnock");
        const auto of = all.find("27.3.118");
        return of == all.end() ? 0 : of->second.size();
    }
    bool open(const std::string& id) const {
        const auto ends = t_.job().open_ends();
        return std::any_of(ends.begin(), ends.end(), [&](const book::LooseEnd& e) { return e.id == id; });
    }
    static bool says(const Judgement& j, const std::string& code) {
        return std::any_of(j.reasons.begin(), j.reasons.end(), [&](const Reason& r) { return r.code == code; });
    }
    std::string refusal(const Result<Marked>& m) { return m ? "" : m.error().code; }
    TestJob t_;
    double up_s_ = 5000;
};

TEST_F(RunEnd, AClockThatIsSetBeforeTheFirstMarkIsNoticedAtOnce) {
    keep_uptime();
    begin();
    pass_s(60);
    set_clock_s(3 * 3600);
    const RunLook look = must(look_at_run(t_.shop, {t_.number, "", {}}));
    EXPECT_TRUE(says(look.judgement, "clock-set"));
    EXPECT_NEAR(look.where.elapsed_s, 60, 0.01);  // by how long the machine has been running
    pass_s(1700);
    const Marked m = must(mark("ended"));
    ASSERT_TRUE(m.look.run.times);
    EXPECT_EQ(m.look.run.times->doubt, "clock");
    EXPECT_TRUE(says(m.look.judgement, "run-time-in-doubt"));
    EXPECT_EQ(own_runs(), 0u);
    EXPECT_EQ(refusal(lasted("as-marked")), "nothing-in-doubt");
    must(lasted("1760"));
    EXPECT_EQ(own_runs(), 1u);
    EXPECT_EQ(t_.job().runs.back().times->seconds, 1760);
}

TEST_F(RunEnd, AClockThatGoesBackWhileTheMachineRestartedIsSeenByTheOrder) {
    begin();
    pass_s(600);
    must(mark("still"));
    set_clock_s(-500);
    const Marked m = must(mark("still"));
    EXPECT_EQ(m.look.where.standing, watch::Standing::astray);
    EXPECT_EQ(m.look.judgement.verdict(), Verdict::cant_say);
    pass_s(1500);
    EXPECT_EQ(must(mark("ended")).look.run.times->doubt, "clock");
    EXPECT_EQ(own_runs(), 0u);
}

TEST_F(RunEnd, OneThatEndsBeforeAnyGoodRunCanIsNotDone) {
    begin();
    pass_s(20);
    const Marked m = must(mark("ended"));
    EXPECT_EQ(m.look.judgement.verdict(), Verdict::halt);
    EXPECT_TRUE(says(m.look.judgement, "ended-too-early"));
    EXPECT_FALSE(m.look.where.safe_to_remove);
    EXPECT_TRUE(open("run-1-early"));
    MendRequest broke;
    broke.job = t_.number;
    EXPECT_FALSE(must(mend_job(t_.shop, broke)).answer.nothing_to_mend);
    EXPECT_EQ(must(load_job_run(t_.shop, t_.number)).next_step(), 1);
    EXPECT_EQ(own_runs(), 0u);
    EXPECT_EQ(refusal(lasted("15")), "lasted-impossible");
    EXPECT_EQ(refusal(lasted("as-marked")), "nothing-in-doubt");
    must(undo());
    EXPECT_TRUE(t_.job().is_open_run());
    EXPECT_FALSE(open("run-1-early"));
    EXPECT_TRUE(open("run-1"));
    pass_s(700);
    EXPECT_EQ(must(mark("ended")).look.run.times->doubt, "");
    EXPECT_EQ(own_runs(), 1u);
    EXPECT_EQ(must(load_job_run(t_.shop, t_.number)).next_step(), 0);
}

TEST_F(RunEnd, OneThatCountsNothingAsLandedMayNotBeDone) {
    begin();
    pass_s(700);
    MarkRequest count;
    count.job = t_.number;
    count.tally = "landed=0";
    must(mark_run(t_.shop, count));
    const Marked m = must(mark("ended"));
    EXPECT_TRUE(says(m.look.judgement, "ended-nothing-written"));
    EXPECT_GE(m.look.judgement.verdict(), Verdict::cant_say);  // the as-found list is inferred: it may be
}

TEST_F(RunEnd, OneThatWasTappedTheNextMorningIsGivenItsTime) {
    begin();
    const UnixMs began = t_.clock.at;
    pass_s(15 * 3600);
    const Marked m = must(mark("ended"));
    EXPECT_EQ(m.look.run.times->doubt, "long");
    EXPECT_EQ(own_runs(), 0u);
    EXPECT_EQ(refusal(lasted("999999")), "lasted-impossible");
    const Marked said = must(lasted("1860"));
    EXPECT_EQ(*said.look.run.ended - began, 1'860'000);
    EXPECT_EQ(said.look.run.times->seconds, 1860);
    EXPECT_EQ(own_runs(), 1u);
    must(lasted("not-known"));
    EXPECT_EQ(own_runs(), 0u);
}

TEST_F(RunEnd, WhatRestsOnAnEndKeepsIt) {
    begin();
    pass_s(1800);
    must(mark("ended"));
    t_.add("as-left", {{"origin", "inferred"}, {"release", "27.3.118"}});
    EXPECT_EQ(refusal(undo()), "end-not-undone");
}

}  // namespace
}  // namespace fettle::workshop
