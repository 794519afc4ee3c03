#include "fettle/workshop/prove_job.h"

#include <gtest/gtest.h>

#include "fettle/workshop/after.h"
#include "fettle/workshop/read_faults.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

// The lines of what the step leaves, as somebody would type them; `but` gets another version.
ListText lines_after(const plan::PlanStep& step, const std::string& but = {}) {
    std::string out;
    for (const Installed& p : change::after(step.sheet, step.release, step.installed).pieces)
        out += p.box + " " + p.name + " " + (p.name == but ? "0.0" : p.version) + "\n";
    return {out, "typed list"};
}

class ProveJob : public ::testing::Test {
protected:
    Result<Proved> prove(std::vector<std::string> tried = {}) { return prove_job(t_.shop, {t_.number, tried, {}}); }
    void everything_seen() {
        const auto& counts = t_.step().sheet.tally;
        t_.add("tally", {{"landed", counts.landed.expected},
                         {"passed_over", counts.passed_over.expected},
                         {"refused", counts.refused.expected},
                         {"to_come", 0}});
        must(keep_typed_faults(t_.shop, {t_.number, {}, "none", {}}));
        t_.clock.at += 10 * 60 * 1000;  // it has settled
    }
    TestJob t_;
};

TEST_F(ProveJob, NeedsARun) {
    const auto p = prove();
    ASSERT_FALSE(p);
    EXPECT_EQ(p.error().code, "no-run");
    ASSERT_NE(p.error().next.proposal(), nullptr);
    EXPECT_EQ(p.error().next.proposal()->act, Act::watch);
}

TEST_F(ProveJob, NothingReadIsNotProvedAndNotFailed) {
    t_.run();
    const auto p = prove();
    ASSERT_TRUE(p) << p.error().message();
    EXPECT_EQ(p->proof.proof, prove::Proof::partly);
    EXPECT_EQ(p->proof.not_read, static_cast<int>(p->proof.pieces.size()));
    EXPECT_TRUE(p->proof.to_give.contains(prove::Give::as_left));
    EXPECT_TRUE(p->proof.to_give.contains(prove::Give::tally));
    EXPECT_FALSE(p->proof.to_give.contains(prove::Give::end_of_run));
    EXPECT_EQ(p->judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(t_.job().proved, "partly");
}

TEST_F(ProveJob, ATypedListThatIsAsPlannedIsProved) {
    t_.run();
    must(keep_as_left(t_.shop, {t_.number, lines_after(t_.step()), "27.3.118", {}}));
    everything_seen();
    auto p = prove();
    ASSERT_TRUE(p) << p.error().message();
    std::vector<std::string> all;
    for (const ToTry& f : p->to_try) all.push_back(std::to_string(f.number));
    if (!all.empty()) {
        EXPECT_EQ(p->proof.proof, prove::Proof::partly);
        p = prove(all);
    }
    EXPECT_EQ(p->proof.proof, prove::Proof::proved) << p->proof.sentence;
    EXPECT_EQ(t_.job().proved, "proved");
    EXPECT_EQ(t_.entries_of("answered"), all.size());
}

TEST_F(ProveJob, OnePieceOfAnotherVersionFails) {
    t_.run();
    const std::string wrong = t_.step().release.pieces.front().name;
    must(keep_as_left(t_.shop, {t_.number, lines_after(t_.step(), wrong), "27.3.118", {}}));
    everything_seen();
    const auto p = prove();
    ASSERT_TRUE(p) << p.error().message();
    EXPECT_EQ(p->proof.proof, prove::Proof::failed);
    EXPECT_EQ(p->judgement.verdict(), Verdict::halt);
    EXPECT_NE(p->proof.sentence.find(wrong), std::string::npos) << p->proof.sentence;
}

TEST_F(ProveJob, AFunctionThatIsNotThereIsRefusedAndNothingIsKept) {
    t_.run();
    const auto before = t_.job().last_number;
    for (const char* n : {"0", "99", "x", ""}) {
        const auto p = prove({n});
        ASSERT_FALSE(p) << n;
        EXPECT_EQ(p.error().code, "function-unknown");
    }
    EXPECT_EQ(t_.job().last_number, before);
}

TEST_F(ProveJob, AListThatSomebodySawStaysWhenOnlyAReleaseIsSaid) {
    t_.run();
    must(keep_as_left(t_.shop, {t_.number, lines_after(t_.step()), "", {}}));
    const AsLeft left = must(keep_as_left(t_.shop, {t_.number, {}, "27.3.118", {}}));
    EXPECT_EQ(left.list.origin, Origin::typed);
    EXPECT_EQ(left.judgement.verdict(), Verdict::fit);
    t_.run();  // of a new run nothing was seen: now it is inferred, which is said
    const AsLeft inferred = must(keep_as_left(t_.shop, {t_.number, {}, "27.3.118", {}}));
    EXPECT_EQ(inferred.list.origin, Origin::inferred);
    EXPECT_EQ(inferred.judgement.verdict(), Verdict::mind);
}

TEST_F(ProveJob, NotReadIsKeptAsNotReadAndNeverAsNone) {
    const FaultsKept before = must(keep_typed_faults(t_.shop, {t_.number, {}, std::nullopt, {}}));
    EXPECT_EQ(before.when, Moment::before);
    EXPECT_FALSE(before.entries);
    EXPECT_EQ(before.judgement.verdict(), Verdict::cant_say);
    t_.run();
    const auto late = keep_typed_faults(t_.shop, {t_.number, Moment::before, "none", {}});
    ASSERT_FALSE(late);
    EXPECT_EQ(late.error().code, "when-past");
    const FaultsKept after = must(keep_typed_faults(t_.shop, {t_.number, {}, "main:B1A4F-13:28", {}}));
    EXPECT_EQ(after.when, Moment::after);
    ASSERT_TRUE(after.faults);
    ASSERT_EQ(after.faults->entries.size(), 1u);
    EXPECT_EQ(after.faults->entries[0].kind, prove::Kind::explained);  // its ask was not marked as answered
}

}  // namespace
}  // namespace fettle::workshop
