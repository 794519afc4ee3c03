#include "fettle/workshop/guard_run.h"

#include <gtest/gtest.h>

#include "fettle/base/files.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class GuardRun : public ::testing::Test {
protected:
    GuardRequest over(const std::string& lines) {
        const auto file = t_.folder / "run.csv";
        must(write_file_durably(file, "time,volts,amps\n" + lines));
        GuardRequest r;
        r.job = t_.number;
        r.supply = file.string();
        r.for_s = 0.05;
        return r;
    }
    BreachRequest tap(const std::string& hold, const std::string& says = {}) { return {t_.number, hold, says}; }
    TestJob t_;
};

TEST_F(GuardRun, NothingIsGuardedWhileNoRunIsOpen) {
    const auto guarded = guard_run(t_.shop, over("1,13.4,2\n"));
    ASSERT_FALSE(guarded);
    EXPECT_EQ(guarded.error().code, "no-open-run");
    const auto broken = keep_breach(t_.shop, tap("stick"));
    ASSERT_FALSE(broken);
    EXPECT_EQ(broken.error().code, "no-open-run");
    ASSERT_NE(broken.error().next.proposal(), nullptr);  // before a run it is an answer to the check
    EXPECT_EQ(broken.error().next.proposal()->act, Act::answer);
    EXPECT_EQ(broken.error().next.proposal()->arguments.at(1), given("answer", "hold.stick=no"));
}

TEST_F(GuardRun, NeedsASupplyOrANetwork) {
    t_.run("");
    GuardRequest none;
    none.job = t_.number;
    EXPECT_EQ(guard_run(t_.shop, none).error().code, "guard-without-witness");
}

TEST_F(GuardRun, ADipIsToldAtOnceAndIsInTheJournalThen) {
    t_.run("");
    std::string lines;
    for (int i = 0; i < 20; ++i) lines += std::to_string(i) + ",13.4,2\n";
    GuardRequest request = over(lines + "20,9.4,2\n21,9.4,2\n");
    std::size_t told = 0;
    request.broken = [&](const Breach& b) {
        ++told;
        EXPECT_EQ(b.witness, "voltage");
        EXPECT_EQ(t_.entries_of("breach"), told);
    };
    const Guarded g = must(guard_run(t_.shop, request));
    EXPECT_EQ(told, 1u);
    ASSERT_EQ(g.breaches.size(), 1u);
    EXPECT_EQ(g.breaches[0].hold, "support");
    EXPECT_EQ(g.readings, 22u);
    EXPECT_EQ(g.judgement.verdict(), Verdict::mind);
}

TEST_F(GuardRun, WithoutOneReadingTheSupplyWasNotGuarded) {
    t_.run("");
    GuardRequest request = over("hello\nhello\n");
    int why = 0;
    request.without_reading = [&](const Error&) { ++why; };
    const Guarded g = must(guard_run(t_.shop, request));
    EXPECT_EQ(g.readings, 0u);
    EXPECT_GE(g.troubles, 1u);
    EXPECT_GE(why, 1);
    EXPECT_EQ(g.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(g.judgement.reasons.at(0).code, "supply-not-witnessed");
}

TEST_F(GuardRun, ATapIsKeptWithTheWordsOfThePerson) {
    t_.run("");
    const Breached b = must(keep_breach(t_.shop, tap("stick", "somebody pulled it")));
    EXPECT_EQ(b.breach.witness, "tap");
    EXPECT_EQ(b.judgement.verdict(), Verdict::mind);
    const Breached silent = must(keep_breach(t_.shop, tap("stick", "  ")));
    EXPECT_EQ(silent.breach.words.find("not so any more: "), 0u);
    const book::Job job = t_.job();
    const auto& kept = job.runs.back().breaches;
    ASSERT_EQ(kept.size(), 2u);
    EXPECT_EQ(kept[0].words, "somebody pulled it");
    const auto none = keep_breach(t_.shop, tap("wheel"));
    ASSERT_FALSE(none);
    EXPECT_EQ(none.error().code, "hold-unknown");
    EXPECT_NE(none.error().next.words().find("stick"), std::string::npos);
    EXPECT_EQ(t_.entries_of("breach"), 2u);
}

}  // namespace
}  // namespace fettle::workshop
