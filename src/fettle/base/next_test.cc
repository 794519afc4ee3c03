#include "fettle/base/next.h"

#include <gtest/gtest.h>

namespace fettle {
namespace {

const Next two{"mark its end first: ", propose(Act::mark, {given("event", "ended")}), ", or ", propose(Act::mend)};

TEST(Next, WordsAloneStayAsTheyAre) {
    EXPECT_TRUE(Next().empty());
    EXPECT_TRUE(Next("").empty());
    EXPECT_EQ(Next("read it again").words(), "read it again");
    EXPECT_EQ(Next("read it again").proposal(), nullptr);
}

TEST(Next, AFaceShowsActsInTheirPlace) {
    EXPECT_EQ(two.words(), "mark its end first: mark (ended), or mend");
    EXPECT_EQ(two.words([](const Proposal& p) { return "<" + std::string(name_of(p.act)) + ">"; }),
              "mark its end first: <mark>, or <mend>");
    ASSERT_NE(two.proposal(), nullptr);
    EXPECT_EQ(two.proposal()->act, Act::mark);
}

TEST(Next, AJobIsNamedOnceAndOnlyWhereNoneIs) {
    Next named = two;
    named.name_job("00042-3");
    EXPECT_EQ(named.words(), "mark its end first: mark (00042-3, ended), or mend (00042-3)");
    Next again = named;
    again.name_job("00043-1");
    EXPECT_EQ(again, named);
    Next asked{propose(Act::show_job, {wanted("job", "J")})};
    asked.name_job("00042-3");
    EXPECT_EQ(asked.words(), "show-job (00042-3)");
}

TEST(Next, ActsOfTheShopHaveNoJob) {
    Next shelve{propose(Act::add_to_shelf, {wanted("package", "PATH")}), ", then ", propose(Act::plan)};
    shelve.name_job("00042-3");
    EXPECT_EQ(shelve.words(), "add-to-shelf (PATH), then plan (00042-3)");
}

// "give NAME as by" is nothing that a face could make a button of: it is no act of its own.
TEST(Next, AnArgumentOfTheActThatWasAskedStandsInAText) {
    const Next give{"give ", with(wanted("by", "NAME")), " or ", with(flag("undo")), "; see ", propose(Act::show_job)};
    EXPECT_EQ(give.words(), "give by NAME or undo; see show-job");
    EXPECT_EQ(give.words([](const Proposal& p) { return "<" + std::string(name_of(p.act)) + ">"; }),
              "give <same> or <same>; see <show-job>");
    ASSERT_NE(give.proposal(), nullptr);
    EXPECT_EQ(give.proposal()->act, Act::show_job);
    EXPECT_EQ(Next(with(flag("by"))).proposal(), nullptr);
    Next named = give;
    named.name_job("00042-3");
    EXPECT_EQ(named.words(), "give by NAME or undo; see show-job (00042-3)");
}

TEST(Next, EveryActHasANameOfItsOwn) {
    std::vector<std::string_view> seen;
    for (int i = 0; i <= static_cast<int>(Act::same); ++i) {
        const auto name = name_of(static_cast<Act>(i));
        ASSERT_FALSE(name.empty()) << i;
        for (const auto other : seen) ASSERT_NE(name, other);
        seen.push_back(name);
    }
}

}  // namespace
}  // namespace fettle
