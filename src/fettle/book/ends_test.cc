// What is owed at the end of a job: loose ends, from where they arise to where they are settled or signed for.
#include "fettle/book/fold_test_help.h"

namespace fettle::book {
namespace {

TEST(Ends, AKeepingIsOpenUntilReturnedOrSignedFor) {
    const std::pair<std::string, std::string> kept{"kept",
                                                   R"({"id":"keeping-1","words":"map card","slot":"B2","tag":"17"})"};
    const Job open = folded({kept}).value();
    ASSERT_EQ(ids(open.open_ends()), Ids{"keeping-1"});
    EXPECT_EQ(open.open_ends()[0].words, "map card in B2 (tag 17) is to go back to the owner");
    EXPECT_TRUE(folded({kept, {"returned", R"({"id":"keeping-1","by":"R. Moor"})"}})->open_ends().empty());
    const Job signed_for =
        folded({kept, {"signed", R"({"id":"keeping-1","by":"R. Moor","reason":"owner fetches it Monday"})"}}).value();
    EXPECT_TRUE(signed_for.open_ends().empty());
    EXPECT_EQ(signed_for.loose_ends.at(0).signed_reason, "owner fetches it Monday");
    EXPECT_FALSE(signed_for.loose_ends.at(0).settled);
}

TEST(Ends, ARunOwesItsEndAndItsProof) {
    EXPECT_EQ(ids(folded({begun})->open_ends()), Ids{"run-1"});
    EXPECT_TRUE(folded({begun})->is_open_run());
    EXPECT_EQ(ids(folded({begun, done})->open_ends()), Ids{"proof"});
    EXPECT_TRUE(folded({begun, done, proven})->open_ends().empty());
    EXPECT_EQ(ids(folded({begun, done, {"proved", R"({"verdict":"mind","word":"partly","reasons":[]})"}})->open_ends()),
              Ids{"proof"});
    // The proof of one step says nothing of the next.
    EXPECT_EQ(ids(folded({begun, done, proven, {"started", R"({"release":"27.3.118"})"}, done})->open_ends()),
              Ids{"proof"});
}

TEST(Ends, ABrokenRunIsMendedByOneThatEnds) {
    const std::pair<std::string, std::string> broken{"ended", R"({"outcome":"broken off"})"};
    EXPECT_EQ(ids(folded({begun, broken})->open_ends()), (Ids{"run-1-broken", "proof"}));
    EXPECT_EQ(ids(folded({begun, broken, begun, done})->open_ends()), Ids{"proof"});
}

TEST(Ends, APlanOfTwoStepsIsDoneWithTheSecond) {
    const std::pair<std::string, std::string> plan{
        "planned", R"({"from":"26.1.090","to":"27.3.118","as_found_origin":"typed","as_found":[],"verdict":"fit",
                      "reasons":[],"route":[{"release":"26.4.102"},{"release":"27.3.118"}]})"},
        next{"started", R"({"release":"27.3.118"})"};
    const Pairs first{plan, {"started", R"({"release":"26.4.102"})"}, done, proven};
    EXPECT_EQ(ids(folded(first)->open_ends()), Ids{"plan-rest"});
    EXPECT_TRUE(folded({first[0], first[1], done, proven, next, done, proven})->open_ends().empty());
}

TEST(Ends, ARunAgainstAHaltNeedsASignature) {
    const Pairs run{{"started", R"({"release":"26.4.102","against_halt":true,"by":"R. Moor"})"}, done, proven};
    EXPECT_EQ(ids(folded(run)->open_ends()), Ids{"run-1-halt"});
    EXPECT_EQ(folded(run)->open_ends()[0].owner, "R. Moor");
    EXPECT_TRUE(folded(run)->runs.at(0).against_halt);
}

TEST(Ends, AnAskThatNobodyAnsweredIsOwed) {
    const std::pair<std::string, std::string> asks{"mark", R"({"event":"asks","source":"tap"})"};
    const std::pair<std::string, std::string> answered{"mark", R"({"event":"answered","source":"tap"})"};
    EXPECT_EQ(ids(folded({begun, asks, done, proven})->open_ends()), Ids{"ask-asks"});
    EXPECT_TRUE(folded({begun, asks, answered, done, proven})->open_ends().empty());
    // A tap taken back does not count, neither way.
    EXPECT_TRUE(folded({begun, asks, {"unmark", R"({"entry":3})"}, done, proven})->open_ends().empty());
    EXPECT_EQ(ids(folded({begun, asks, answered, {"unmark", R"({"entry":4})"}, done, proven})->open_ends()),
              Ids{"ask-asks"});
}

TEST(Ends, FaultMemoryNotReadIsShownAndHoldsUpOnlyWhenItWasReadBefore) {
    const Job never = folded({begun, done, proven}).value();
    EXPECT_TRUE(never.open_ends().empty());
    ASSERT_EQ(never.loose_ends.back().id, "fault-memory");
    EXPECT_TRUE(never.loose_ends.back().open());
    const Job before =
        folded({{"faults", R"({"when":"before","origin":"read","entries":[]})"}, begun, done, proven}).value();
    EXPECT_EQ(ids(before.open_ends()), Ids{"faults-after"});
}

// The last word counts, in both directions.
TEST(Ends, AReadingTakenBackIsOpenAgain) {
    const std::pair<std::string, std::string> none{"faults", R"({"when":"after","origin":"typed","entries":[]})"};
    const std::pair<std::string, std::string> not_read{"faults", R"({"when":"after","origin":"not read"})"};
    const Job back = folded({begun, done, proven, none, not_read}).value();
    EXPECT_TRUE(back.open_ends().empty());
    EXPECT_EQ(back.loose_ends.back().id, "fault-memory");
    EXPECT_TRUE(back.loose_ends.back().open());
    EXPECT_FALSE(folded({begun, done, proven, none, not_read, none})->loose_ends.back().open());
    const std::pair<std::string, std::string> before{"faults", R"({"when":"before","origin":"read","entries":[]})"};
    EXPECT_TRUE(folded({before, begun, done, proven, none})->open_ends().empty());
    EXPECT_EQ(ids(folded({before, begun, done, proven, none, not_read})->open_ends()), Ids{"faults-after"});
}

TEST(Ends, OnlyNewOrWorseFaultsAreOwed) {
    // Status bytes by ISO 14229-1 D.2: 0x28 confirmed and failed since clear; 0x2F with testFailed, failing now.
    const std::pair<std::string, std::string> before{
        "faults",
        R"({"when":"before","origin":"read","entries":[{"box":"display","code":"U1402-00","status":"0x28"}]})"};
    const auto after = [](const std::string& entries) {
        return std::pair<std::string, std::string>{"faults",
                                                   R"({"when":"after","origin":"read","entries":[)" + entries + "]}"};
    };
    const std::string same = R"({"box":"display","code":"U1402-00","status":40})";
    const std::string worse = R"({"box":"display","code":"U1402-00","status":"2F"})";
    const std::string fresh = R"({"box":"main","code":"B1A4F-13"})";
    EXPECT_TRUE(folded({before, begun, done, proven, after(same)})->open_ends().empty());
    EXPECT_EQ(ids(folded({before, begun, done, proven, after(worse)})->open_ends()), Ids{"fault-display-U1402-00"});
    const Job j = folded({before, begun, done, proven, after(same + "," + fresh)}).value();
    EXPECT_EQ(ids(j.open_ends()), Ids{"fault-main-B1A4F-13"});
    EXPECT_FALSE(j.faults_after.entries.at(1).status);
    EXPECT_TRUE(folded({before, begun, done, proven, after(fresh), after("")})->open_ends().empty());
    // Nothing was read before: whether the entry is new is not known, so it is owed as well.
    const Job unknown = folded({begun, done, proven, after(fresh)}).value();
    EXPECT_NE(unknown.open_ends().at(0).words.find("whether before is not known"), std::string::npos);
}

}  // namespace
}  // namespace fettle::book
