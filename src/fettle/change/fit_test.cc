// What fits is decided by the acceptance stories of the example world; the rules are the family file's and the index's.
#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include "fettle/change/test_releases.h"

namespace fettle::change {
namespace {

using namespace test;

Judgement fits(const family::Release& r, const SetState& set) {
    return fit(dunnock(), r, set);
}

TEST(Fit, AReleaseForTheSetFits) {
    const auto j = fits(release("27.3.118", "4.0", "26.4.102", 1), set_at("27.1.110"));
    EXPECT_EQ(j.verdict(), Verdict::fit);
    ASSERT_EQ(j.reasons.size(), 1u);
    EXPECT_EQ(j.reasons[0].code, "fits");
}

TEST(Fit, TheWrongMarketIsAHaltHoweverNewThePieces) {
    auto r = release("27.3.118", "99.0", "26.4.102", 1);
    r.markets = {"MD", "OV"};
    const auto j = fits(r, set_at("27.1.110", "NS"));
    EXPECT_EQ(j.verdict(), Verdict::halt);
    const auto* m = reason(j, "market");
    ASSERT_NE(m, nullptr);
    EXPECT_EQ(m->text, "market: the box is NS, 27.3.118 is for MD, OV only (found NS, wanted MD, OV)");
    EXPECT_EQ(m->where, "market");
}

TEST(Fit, EveryFalseConditionIsListed) {
    auto r = release("27.3.118", "4.0", "26.4.102", 1);
    r.family = "brill";
    r.markets = {"MD"};
    r.pieces.push_back(piece("tuner", "system", "radio", "1.0"));
    r.pieces[2].issues = {"D"};
    auto set = set_at("26.1.090");
    const auto j = fits(r, set);
    for (const char* code : {"family", "market", "installs-from", "stone-skipped", "box-unknown"}) {
        EXPECT_NE(reason(j, code), nullptr) << code;
    }
}

TEST(Fit, NothingJumpsOverASteppingStoneWhateverTheIndexSays) {
    const auto j = fits(release("27.3.118", "4.0", "", 1), set_at("26.1.090"));
    const auto* r = reason(j, "stone-skipped");
    ASSERT_NE(r, nullptr);
    EXPECT_EQ(r->verdict, Verdict::halt);
    EXPECT_NE(r->text.find("26.4.102 must come between 26.1.090 and 27.3.118"), std::string::npos);
}

TEST(Fit, NoWayBackThroughADoor) {
    const auto j = fits(release("26.1.090", "1.0", "", 0), set_at("27.3.118"));
    EXPECT_EQ(j.verdict(), Verdict::halt);
    const auto* r = reason(j, "one-way-door");
    ASSERT_NE(r, nullptr);
    EXPECT_NE(r->text.find("one-way door at 26.4.102"), std::string::npos);
    EXPECT_EQ(r->where, "main.counter");
}

TEST(Fit, ACounterThatWasReadWinsOverTheFamilyFile) {
    auto set = set_at("26.1.090");
    set["main"].counter = 7;
    const auto j = fits(release("26.4.102", "2.0", "", 1), set);
    EXPECT_EQ(j.verdict(), Verdict::halt);
    EXPECT_NE(reason(j, "counter-lower"), nullptr);  // no known door explains 7
}

TEST(Fit, GoingBackWithTheSameCounterIsAllowed) {
    EXPECT_EQ(fits(release("27.1.110", "3.0", "26.4.102", 1), set_at("27.3.118")).verdict(), Verdict::fit);
}

TEST(Fit, AnUnknownFactHoldsUpOnlyWhatNeedsIt) {
    auto set = set_at("27.1.110");
    for (auto& [role, box] : set) box.issue.clear();
    EXPECT_EQ(fits(release("27.3.118", "4.0", "", 1), set).verdict(), Verdict::fit);  // no piece asks for a letter
    auto r = release("27.3.118", "4.0", "", 1);
    r.pieces[0].issues = {"C", "D"};
    const auto j = fits(r, set);
    EXPECT_EQ(j.verdict(), Verdict::cant_say);
    EXPECT_NE(reason(j, "issue-unknown"), nullptr);
}

TEST(Fit, UnknownReleaseAndMarketAreCantSay) {
    const auto j = fits(release("27.3.118", "4.0", "26.4.102", 1), set_at("", ""));
    EXPECT_EQ(j.verdict(), Verdict::cant_say);
    EXPECT_NE(reason(j, "market"), nullptr);
    EXPECT_NE(reason(j, "installs-from"), nullptr);
}

TEST(Fit, NoPieceForTheIssueLetter) {
    auto r = release("27.3.118", "4.0", "26.4.102", 1);
    for (auto& p : r.pieces) {
        if (p.box == "display") p.issues = {"B", "D"};
    }
    const auto j = fits(r, set_at("27.1.110"));
    const auto* why = reason(j, "issue");
    ASSERT_NE(why, nullptr);
    EXPECT_EQ(why->verdict, Verdict::halt);
    EXPECT_NE(why->text.find("the display box is A"), std::string::npos);
}

TEST(Fit, ABoxThatIsNotThereIsNamed) {
    auto set = set_at("27.1.110");
    set.erase("display");
    const auto j = fits(release("27.3.118", "4.0", "26.4.102", 1), set);
    ASSERT_NE(reason(j, "box-missing"), nullptr);
    EXPECT_EQ(j.verdict(), Verdict::halt);
}

RC_GTEST_PROP(Fit, AFalseConditionNeverTurnsToFitWhenMoreIsUnknown, ()) {
    // Taking knowledge away may turn a verdict into can't say, but never a halt into a fit of the same condition.
    auto r = release("27.3.118", "4.0", *rc::gen::element<std::string>("", "26.4.102", "27.1.110"), 1);
    r.markets = *rc::gen::element(std::vector<std::string>{"NS"}, std::vector<std::string>{"MD"});
    auto set = set_at(*rc::gen::element<std::string>("26.1.090", "26.4.102", "27.1.110"));
    const auto full = fits(r, set);
    auto blind = set;
    for (auto& [role, box] : blind) {
        if (*rc::gen::arbitrary<bool>()) box.market.clear();
        if (*rc::gen::arbitrary<bool>()) box.release.clear();
    }
    const auto less = fits(r, blind);
    if (blind != set) RC_ASSERT(less.verdict() != Verdict::fit || full.verdict() == Verdict::fit);
}

}  // namespace
}  // namespace fettle::change
