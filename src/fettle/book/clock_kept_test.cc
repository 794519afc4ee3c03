#include "fettle/book/clock_kept.h"

#include <gtest/gtest.h>

#include "fettle/book/fold_test_help.h"
#include "fettle/book/tail.h"

namespace fettle::book {
namespace {

// Arithmetic: on one running machine the wall's difference less the running time's is what the clock was set by.
TEST(ClockSetBy, OnOneStartTheDifferenceOfDifferences) {
    const std::vector<ClockKept> kept{{1'000'000, "a", 100}};
    EXPECT_FALSE(clock_set_by(kept, 1'000'000, {1'060'000, "a", 160}));
    EXPECT_FALSE(clock_set_by(kept, 1'000'000, {1'064'900, "a", 160}));  // within what a daemon steers and rounds
    const auto on = clock_set_by(kept, 1'000'000, {1'000'000 + 10'860'000, "a", 160});
    ASSERT_TRUE(on);
    EXPECT_TRUE(on->exact);
    EXPECT_NEAR(on->by_s, 10'800, 1e-9);
    const auto back = clock_set_by(kept, 1'000'000, {700'000, "a", 160});
    ASSERT_TRUE(back);
    EXPECT_NEAR(back->by_s, -360, 1e-9);
}

TEST(ClockSetBy, AfterARestartTheOrderAlone) {
    const std::vector<ClockKept> kept{{1'000'000, "a", 100}};
    EXPECT_FALSE(clock_set_by(kept, 1'000'000, {90'000'000, "b", 5}));  // a night, or a clock set on: not to be told
    EXPECT_FALSE(clock_set_by(kept, 1'000'000, {970'000, "b", 5}));     // another machine's clock
    const auto back = clock_set_by(kept, 1'000'000, {100'000, "b", 5});
    ASSERT_TRUE(back);
    EXPECT_FALSE(back->exact);
    EXPECT_NEAR(back->by_s, -900, 1e-9);
    EXPECT_TRUE(clock_set_by({}, 1'000'000, {100'000, "", 0}));  // journals that keep no second clock
    EXPECT_FALSE(clock_set_by({}, 0, {100'000, "", 0}));
}

TEST(ClockSetBy, TwoMachinesInTurnAreHeldAgainstThemselves) {
    std::vector<ClockKept> kept;
    keep_clock(kept, {1'000'000, "a", 100});
    keep_clock(kept, {1'035'000, "b", 7000});  // its clock is half a minute off
    EXPECT_FALSE(clock_set_by(kept, 1'035'000, {1'010'000, "a", 110}));
    keep_clock(kept, {1'010'000, "a", 110});
    EXPECT_EQ(kept.size(), 2u);
    EXPECT_TRUE(clock_set_by(kept, 1'010'000, {1'010'000 + 60'000, "b", 7010}));
}

TEST(ClockSetBy, ARunKnowsThatTheClockWasSetWhileItWasOpen) {
    const auto at_up = [](const char* type, const char* data, int up_s) {
        std::string whole(data);
        whole.back() = ',';
        return std::pair<std::string, std::string>(
            type, whole + R"("clock":{"boot":"a","up_s":)" + std::to_string(up_s) + "}}");
    };
    const auto job = folded({at_up("started", R"({"release":"26.4.102"})", 100),
                             at_up("mark", R"({"event":"dark","source":"tap"})", 101),
                             at_up("mark", R"({"event":"back","source":"tap"})", 5000)});
    ASSERT_TRUE(job);
    ASSERT_EQ(job->runs.at(0).clock_set.size(), 1u);  // entries lie a second apart
    EXPECT_EQ(job->runs[0].clock_set[0].entry, 4);
    EXPECT_NEAR(job->runs[0].clock_set[0].step.by_s, 1 - 4899, 1e-6);
}

TEST(Ends, AnEndThatIsTakenBackHasNotBeen) {
    const std::pair<std::string, std::string> times{"times", R"({"family":"f","release":"26.4.102","seconds":5})"};
    const Job job = folded({begun, done, times, {"unmark", R"({"entry":3})"}, {"unmark", R"({"entry":4})"}}).value();
    EXPECT_TRUE(job.is_open_run());
    EXPECT_FALSE(job.runs.at(0).times);
    EXPECT_EQ(ids(job.open_ends()), Ids{"run-1"});
    const auto more = entries_of({{"opened", R"({"customer":"1"})"}, begun, done, {"unmark", R"({"entry":3})"}});
    const Job before = fold("0001X", {more.begin(), more.begin() + 3}).value();
    EXPECT_TRUE(takes_end_back(before, {more.begin() + 3, more.end()}));
    EXPECT_FALSE(takes_end_back(before, {more.begin(), more.begin() + 3}));
}

TEST(Ends, AnEarlyEndSettlesNothingAndHoldsUpTheSheet) {
    const Job job = folded({begun, {"ended", R"({"outcome":"ended","early":true})"}}).value();
    EXPECT_EQ(ids(job.open_ends()), (Ids{"run-1-early", "proof"}));
    EXPECT_TRUE(folded({begun, {"ended", R"({"outcome":"ended","early":true})"}, proven})->open_ends().empty());
}

TEST(Ends, WhatIsSaidAgainOfThePiecesIsToBeProvedAgain) {
    const std::pair<std::string, std::string> left{"as-left", R"({"origin":"inferred","release":"26.4.102"})"};
    EXPECT_TRUE(folded({begun, done, left, proven})->open_ends().empty());
    const Job job = folded({begun, done, left, proven, left}).value();
    EXPECT_EQ(ids(job.open_ends()), Ids{"proof"});
    EXPECT_EQ(job.proved, "");
}

}  // namespace
}  // namespace fettle::book
