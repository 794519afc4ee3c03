#include "fettle/workshop/loose_ends.h"

#include <gtest/gtest.h>

#include "fettle/workshop/store.h"
#include "fettle/workshop/take_in.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class Ends : public ::testing::Test {
protected:
    Ends() {
        TakeInRequest r;
        r.customer = "1007";
        r.keep = {must(thing_typed("map card")), must(thing_typed("key"))};
        number_ = must(take_in(t_.shop, r)).job;
    }
    TestWorkshop t_;
    std::string number_;
};

TEST_F(Ends, EachThatBlocksIsAReason) {
    const LooseEnds open = must(loose_ends(t_.shop, number_));
    EXPECT_EQ(open.judgement.reasons.size(), 2u);
    EXPECT_EQ(open.judgement.verdict(), Verdict::mind);
    must(settle_loose_end(t_.shop, {number_, "keeping-1", "in the post", "R"}));
    EXPECT_EQ(must(loose_ends(t_.shop, number_)).judgement.reasons.size(), 1u);
    const EndDone done = must(sign_loose_end(t_.shop, {number_, "keeping-2", "fetched on Friday", "R"}));
    EXPECT_EQ(done.end.id, "keeping-2");
    const LooseEnds none = must(loose_ends(t_.shop, number_));
    EXPECT_EQ(none.judgement.verdict(), Verdict::fit);
    ASSERT_EQ(none.job.loose_ends.size(), 2u);
    EXPECT_TRUE(none.job.loose_ends[0].settled);
    EXPECT_EQ(none.job.loose_ends[1].signed_reason, "fetched on Friday");
}

TEST_F(Ends, NobodyAnswersWithoutNameAndWords) {
    for (const EndRequest& r : {EndRequest{number_, "keeping-1", "", "R"}, {number_, "keeping-1", "gone", " "}}) {
        const auto refused = sign_loose_end(t_.shop, r);
        ASSERT_FALSE(refused);
        EXPECT_EQ(refused.error().code, "loose-end-name");
        EXPECT_EQ(refused.error().next.proposal()->act, Act::open_points);
    }
    EXPECT_EQ(must(loose_ends(t_.shop, number_)).job.open_ends().size(), 2u);
}

TEST_F(Ends, WhatIsUnknownOrSettledIsSaidSo) {
    const auto unknown = settle_loose_end(t_.shop, {number_, "keeping-9", "gone", "R"});
    ASSERT_FALSE(unknown);
    EXPECT_EQ(unknown.error().code, "loose-end-unknown");
    must(settle_loose_end(t_.shop, {number_, "keeping-1", "in the post", "R"}));
    const auto again = sign_loose_end(t_.shop, {number_, "keeping-1", "later", "R"});
    ASSERT_FALSE(again);
    EXPECT_NE(again.error().problem.find("settled already"), std::string::npos);
}

}  // namespace
}  // namespace fettle::workshop
