#include "fettle/workshop/card_of_job.h"

#include <gtest/gtest.h>

namespace fettle::workshop {
namespace {

book::Job job_of_a_plan() {
    book::Job j;
    j.family = "dunnock";
    j.market = "NS";
    j.plan.resize(2);
    j.plan[0].release = "26.4.102";
    j.plan[1].release = "27.3.118";
    return j;
}

std::vector<std::string> codes(const Judgement& j) {
    std::vector<std::string> out;
    for (const Reason& r : j.reasons) out.push_back(r.code);
    return out;
}
using Codes = std::vector<std::string>;

TEST(CardOfJob, ACardOfThePlansFamilyMarketAndReleaseIsTheJobs) {
    EXPECT_EQ(codes(against_job(job_of_a_plan(), {"dunnock", {"MD", "NS"}, "27.3.118"})), Codes{});
    EXPECT_EQ(codes(against_job(job_of_a_plan(), {"dunnock", {"NS"}, "26.4.102"})), Codes{});
}

TEST(CardOfJob, WhatIsOtherHaltsEachByItsName) {
    const Judgement j = against_job(job_of_a_plan(), {"brill", {"MD"}, "27.1.110"});
    EXPECT_EQ(codes(j), (Codes{"card-other-family", "card-other-market", "card-other-release"}));
    EXPECT_EQ(j.verdict(), Verdict::halt);
    EXPECT_EQ(j.reasons[2].text,
              "The card is of release 27.1.110, and the plan of this job installs 26.4.102, then 27.3.118.");
}

// It would be an older release than the box may have by now.
TEST(CardOfJob, ACardOfAStepThatLiesBehindIsNoLongerTheJobs) {
    book::Job j = job_of_a_plan();
    j.runs.resize(1);
    j.runs[0].release = "27.3.118";
    EXPECT_EQ(codes(against_job(j, {"dunnock", {"NS"}, "26.4.102"})), Codes{"card-behind"});
    EXPECT_EQ(codes(against_job(j, {"dunnock", {"NS"}, "27.3.118"})), Codes{});
    j.runs[0].release = "26.4.102";
    EXPECT_EQ(codes(against_job(j, {"dunnock", {"NS"}, "26.4.102"})), Codes{});
    j.runs[0].release = "27.1.110";  // planned anew since
    EXPECT_EQ(codes(against_job(j, {"dunnock", {"NS"}, "26.4.102"})), Codes{});
}

TEST(CardOfJob, WhatIsNotKnownSpeaksNeitherForNorAgainst) {
    EXPECT_EQ(codes(against_job(job_of_a_plan(), {})), Codes{});
    EXPECT_EQ(codes(against_job({}, {"brill", {"MD"}, "27.1.110"})), Codes{});
}

book::Entry entry(const char* type, const char* data) {
    book::Entry e;
    e.type = type;
    e.data = data;
    return e;
}

TEST(CardOfJob, TheLastAuditSinceItWasLaidCounts) {
    const book::Entry laid = entry("laid", R"({"family":"dunnock","markets":["NS"],"release":"27.3.118"})");
    const book::Entry halted =
        entry("audited", R"x({"verdict":"halt","sentence":"Not for a Dunnock (3 more below)"})x");
    const book::Entry fit = entry("audited", R"({"verdict":"fit","sentence":"All is there"})");
    auto cards = cards_of({laid, fit, halted});
    ASSERT_EQ(cards.size(), 1u);
    EXPECT_EQ(cards[1].audit, Verdict::halt);
    EXPECT_EQ(cards[1].sentence, "Not for a Dunnock");
    EXPECT_EQ(cards[1].on.family, "dunnock");
    EXPECT_EQ(cards[1].on.markets, std::vector<std::string>{"NS"});
    EXPECT_EQ(cards[1].on.release, "27.3.118");
    cards = cards_of({laid, halted, fit});
    EXPECT_EQ(cards[1].audit, Verdict::fit);
    cards = cards_of({laid, fit, entry("laid", R"({"release":"27.1.110"})")});
    EXPECT_FALSE(cards[1].audit);  // laid anew it is another card
    EXPECT_TRUE(cards[1].on.family.empty());
}

TEST(CardOfJob, CardsAreKeptApartByTheirNumber) {
    const auto cards = cards_of({entry("laid", R"({"release":"27.3.118"})"),
                                 entry("audited", R"({"release":"27.3.118","card_number":2,"verdict":"fit"})")});
    ASSERT_EQ(cards.size(), 2u);
    EXPECT_FALSE(cards.at(1).audit);
    EXPECT_EQ(cards.at(2).audit, Verdict::fit);
}

TEST(CardOfJob, AVerdictThatCannotBeReadIsAHalt) {
    for (const char* data : {R"({"verdict":"splendid"})", R"({"verdict":1})", "{}"})
        EXPECT_EQ(cards_of({entry("audited", data)}).at(1).audit, Verdict::halt) << data;
}

// A check that called its two cards "not audited".
ready::Check of_two_cards() {
    ready::Check c;
    for (const char* where : {"card", "card.2"}) {
        const Reason r{"card-not-audited", Verdict::cant_say, "was not audited", where, "", {}};
        c.items.push_back({where, "laid", r});
        c.judgement.add(r);
    }
    return c;
}

TEST(CardOfJob, AnAuditThatStoppedIsToldInPlaceOfNotAudited) {
    std::map<unsigned, CardOfJob> cards;
    cards[1] = {{"dunnock", {"NS"}, "27.3.118"}, Verdict::halt, "Map data of another release"};
    cards[2] = {{"dunnock", {"NS"}, "27.3.118"}, Verdict::cant_say, "No key was there"};
    ready::Check c = of_two_cards();
    tell_cards(job_of_a_plan(), cards, 2, c);
    EXPECT_EQ(codes(c.judgement), (Codes{"card-audit-stopped", "card-audit-open"}));
    ASSERT_EQ(c.items.size(), 2u);
    EXPECT_EQ(c.items[0].value, "the audit stopped");
    EXPECT_EQ(c.items[0].reason.text, "the audit stopped at this card: Map data of another release");
    EXPECT_EQ(c.items[1].reason.where, "card.2");
}

TEST(CardOfJob, AGoodAuditLeavesTheCheckAsItIsAndOthersCardsDoNot) {
    std::map<unsigned, CardOfJob> cards;
    cards[1] = {{"dunnock", {"NS"}, "1.0"}, Verdict::fit, "All is there"};  // which release, the check has asked
    cards[2] = {{"brill", {"NS"}, "27.3.118"}, Verdict::fit, "All is there"};
    ready::Check c = of_two_cards();
    tell_cards(job_of_a_plan(), cards, 2, c);
    EXPECT_EQ(codes(c.judgement), (Codes{"card-not-audited", "card-other-family"}));
}

TEST(CardOfJob, ACardBeyondThoseOfTheStepIsNotItsMatter) {
    std::map<unsigned, CardOfJob> cards;
    cards[2] = {{"brill", {}, ""}, Verdict::halt, "x"};
    ready::Check c;
    tell_cards(job_of_a_plan(), cards, 1, c);
    EXPECT_TRUE(c.items.empty());
    tell_cards(job_of_a_plan(), cards, 2, c);
    EXPECT_EQ(codes(c.judgement), Codes{"card-other-family"});  // said at the end where the check said nothing
}

TEST(CardOfJob, SomethingWorseStandsBesideIt) {
    ready::Check c;
    const Reason halt{"card-none", Verdict::halt, "no card", "card", "", {}};
    c.items.push_back({"card", "none", halt});
    c.judgement.add(halt);
    std::map<unsigned, CardOfJob> cards;
    cards[1] = {{}, Verdict::cant_say, "No key was there"};
    tell_cards(job_of_a_plan(), cards, 1, c);
    EXPECT_EQ(codes(c.judgement), (Codes{"card-none", "card-audit-open"}));
}

}  // namespace
}  // namespace fettle::workshop
