#include "fettle/workshop/installed_now.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class WhatIsInstalledNow : public ::testing::Test {
protected:
    std::optional<InstalledNow> now() { return installed_now(must(load_job_run(t_.shop, t_.number))); }
    static bool says(const InstalledNow& n, const std::string& code) {
        return std::any_of(n.judgement.reasons.begin(), n.judgement.reasons.end(),
                           [&](const Reason& r) { return r.code == code && r.verdict == Verdict::cant_say; });
    }
    TestJob t_;
};

TEST_F(WhatIsInstalledNow, BeforeAnyRunIsOverWhatWasFoundStands) {
    EXPECT_FALSE(now());
    t_.run("");
    EXPECT_FALSE(now());
}

TEST_F(WhatIsInstalledNow, AfterARunItIsWhatItsStepLeaves) {
    t_.run();
    const auto n = now();
    ASSERT_TRUE(n);
    for (const auto& [role, box] : n->set) EXPECT_EQ(box.release, "27.3.118") << role;
    EXPECT_TRUE(n->judgement.reasons.empty());
    EXPECT_FALSE(n->list);
}

TEST_F(WhatIsInstalledNow, OfARunThatBrokeNobodyHasSeenIt) {
    t_.run("broken off");
    const auto n = now();
    ASSERT_TRUE(n);
    for (const auto& [role, box] : n->set) EXPECT_EQ(box.release, "27.1.110") << role;
    EXPECT_TRUE(says(*n, "run-broke-before"));
}

TEST_F(WhatIsInstalledNow, ABoxThatShowsAnotherReleaseIsBelievedAndTold) {
    t_.run();
    t_.add("as-left", {{"origin", "inferred"}, {"release", "27.1.110"}});
    const auto n = now();
    ASSERT_TRUE(n);
    for (const auto& [role, box] : n->set) EXPECT_EQ(box.release, "27.1.110") << role;
    EXPECT_TRUE(says(*n, "left-otherwise"));
}

}  // namespace
}  // namespace fettle::workshop
