#include "fettle/show/mend.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

const ShowAct none = [](const Proposal&) { return std::string(); };

std::string page(const workshop::Mended& m) {
    return mended(m).text.text(none);
}
mend::Place place(const char* words, double p, int cell) {
    mend::Place out;
    out.act = "writes";
    out.words = words;
    out.cell = cell;
    out.p = p;
    out.outcomes = {cutmap::Outcome::same_card};
    return out;
}

TEST(ShowMend, CellsOfOneActStandTogetherWithTheirOddsAddedUp) {
    workshop::Mended m;
    m.answer.places = {place("writes the code", 0.3, 1), place("starts again", 0.3, -1),
                       place("writes the code", 0.4, 2)};
    const std::string text = page(m);
    EXPECT_NE(text.find("  70 in 100      writes the code\n  30 in 100      starts again\n"), std::string::npos)
        << text;
    EXPECT_EQ(mended(m).data.at("places").as_array().size(), 3u);  // the document has each
}

// What is rare is not called impossible, and what is all but certain not certain.
TEST(ShowMend, OddsAreNeverRoundedToNothingNorToAll) {
    workshop::Mended m;
    m.answer.outcomes[cutmap::Outcome::lost] = {0.001, 0.001};
    m.answer.outcomes[cutmap::Outcome::same_card] = {0.4, 0.999};
    const std::string text = page(m);
    EXPECT_NE(text.find("<1 in 100"), std::string::npos) << text;
    EXPECT_NE(text.find("40 to >99 in 100"), std::string::npos) << text;
}

TEST(ShowMend, HandingOverIsNoAttemptWithANumber) {
    workshop::Mended m;
    mend::Attempt same;
    same.kind = MendKind::same_card;
    same.words = "put the same card in";
    same.most = 2;
    same.done = 1;
    mend::Attempt over;
    over.kind = MendKind::hand_over;
    over.words = "hand it over";
    m.answer.attempts = {same, over};
    const std::string text = page(m);
    EXPECT_NE(text.find("  1 put the same card in\n    at most 2 times, 1 of them done; helps"), std::string::npos)
        << text;
    EXPECT_NE(text.find("  then hand it over\n"), std::string::npos) << text;
    EXPECT_EQ(mended(m).data.at("attempts").at(0).at("kind"), "same-card");
}

TEST(ShowMend, ItIsSaidWhetherPowerWentOrWouldGo) {
    workshop::Mended m;
    m.answer.places = {place("writes the code", 1, 1)};
    m.answer.outcomes[cutmap::Outcome::same_card] = {1, 1};
    EXPECT_NE(page(m).find("where it can be\n"), std::string::npos);
    EXPECT_NE(page(m).find("what losing its power there leaves\n"), std::string::npos);
    m.power_went = true;
    EXPECT_NE(page(m).find("where it can have been\n"), std::string::npos);
    EXPECT_NE(page(m).find("what that leaves\n"), std::string::npos);
}

TEST(ShowMend, DarkTooEarlyStandsBeforeTheAdvice) {
    workshop::Mended m;
    m.answer.sentence = "It can go on.";
    m.dark_early = workshop::DarkEarly{5, 90};
    m.judgement.add({"mend-dark-early", Verdict::cant_say, "dark for 5 s says nothing yet", "mend", "forecast"});
    EXPECT_EQ(mended(m).headline, "Wait: dark for 5 s says nothing yet. It can go on.");
}

TEST(ShowMend, ATextThatTheFamilyDoesNotKnowIsNotGivenAMeaning) {
    workshop::Mended m;
    m.shows = "E 17";
    m.meaning = watch::TextMeaning{};
    m.meaning->known = false;
    EXPECT_NE(page(m).find("\"E 17\", which the family file does not know"), std::string::npos);
}

}  // namespace
}  // namespace fettle::show
