#include "fettle/workshop/promises.h"

#include <gtest/gtest.h>

#include <cmath>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

void came_due(TestJob& t, bool kept, double loss_s, const char* family = "dunnock") {
    t.add("times", {{"family", family},
                    {"release", "27.3.118"},
                    {"seconds", 1000},
                    {"promised_p50_s", 900},
                    {"promised_p90_s", 1100},
                    {"kept", kept},
                    {"loss_s", loss_s}});
}

TEST(PromisesScored, WithoutOneNothingIsSaid) {
    TestWorkshop none;
    EXPECT_EQ(must(score_promises(none.shop, "")).judgement.reasons.at(0).code, "no-promise-yet");
    TestJob t;
    t.add("times", {{"family", "dunnock"}, {"release", "27.3.118"}, {"seconds", 1000}});  // it was promised none
    const PromisesScored s = must(score_promises(t.shop, ""));
    EXPECT_EQ(s.all.made, 0);
    EXPECT_EQ(s.judgement.verdict(), Verdict::cant_say);
}

// Clopper and Pearson (1934): of n promises that all were kept the lower bound is 0.025 to the power of 1/n, the
// upper 1.
TEST(PromisesScored, TheBoundsAreExact) {
    TestJob t;
    for (int i = 0; i < 5; ++i) came_due(t, true, 10);
    PromisesScored s = must(score_promises(t.shop, ""));
    EXPECT_EQ(s.all.made, 5);
    EXPECT_EQ(s.all.kept, 5);
    EXPECT_NEAR(s.all.low, std::pow(0.025, 1.0 / 5), 1e-9);
    EXPECT_EQ(s.all.high, 1);
    EXPECT_EQ(s.judgement.reasons.at(0).code, "promises-as-said");
    for (int i = 0; i < 5; ++i) came_due(t, false, 90);
    s = must(score_promises(t.shop, ""));
    EXPECT_EQ(s.all.loss_s, 50);
    EXPECT_EQ(s.judgement.reasons.at(0).code, "promises-too-short");
    EXPECT_EQ(s.judgement.verdict(), Verdict::mind);
}

TEST(PromisesScored, OfOneFamilyOnlyWhenAsked) {
    TestJob t;
    came_due(t, true, 10);
    came_due(t, false, 30, "pelm");
    EXPECT_EQ(must(score_promises(t.shop, "")).steps.size(), 2u);
    const PromisesScored s = must(score_promises(t.shop, "pelm"));
    ASSERT_EQ(s.steps.size(), 1u);
    EXPECT_EQ(s.steps[0].step, "pelm to 27.3.118");
    EXPECT_EQ(s.steps[0].promises.kept, 0);
    EXPECT_EQ(s.all.made, 1);
}

}  // namespace
}  // namespace fettle::workshop
