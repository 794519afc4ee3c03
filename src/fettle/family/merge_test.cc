// Two files of one family: what each edit of the example must be taken for, by the rules of docs/family-file.md.
#include "fettle/family/merge.h"

#include <gtest/gtest.h>

#include "fettle/base/files.h"
#include "fettle/base/source_path.h"
#include "fettle/family/compare.h"

namespace fettle::family {
namespace {

std::string dunnock() {
    return read_text_file(source_path("families/dunnock.toml"), 1 << 20).value();
}

std::string with(std::string text, const std::string& old, const std::string& now) {
    const std::size_t at = text.find(old);
    EXPECT_NE(at, std::string::npos) << old;
    return at == std::string::npos ? text : text.replace(at, old.size(), now);
}

using Kind = Difference::Kind;

TEST(Merge, TheSameFileAndOtherRemarksAreNoDifference) {
    EXPECT_TRUE(differences(dunnock(), dunnock()).empty());
    EXPECT_TRUE(differences(dunnock(), "# by somebody else\n" + dunnock()).empty());
}

TEST(Merge, ANewHoldIsTakenAndStandsAtTheEnd) {
    const std::string theirs = dunnock() + "\n[[hold]]\nid = \"heater\"\nwords = \"the heater stays off\"\n";
    const auto d = differences(dunnock(), theirs);
    ASSERT_EQ(d.size(), 1u);
    EXPECT_EQ(d[0].entry, "hold heater");
    EXPECT_EQ(d[0].kind, Kind::tightens);
    EXPECT_TRUE(d[0].here.empty());
    const auto out = merged(dunnock(), theirs, {0});
    ASSERT_TRUE(out);
    EXPECT_TRUE(out->starts_with(dunnock()));
    EXPECT_NE(load_family_text(*out).family.holds.size(), load_family_text(dunnock()).family.holds.size());
    // The other way round it goes away, and that loosens.
    const auto back = differences(theirs, dunnock());
    ASSERT_EQ(back.size(), 1u);
    EXPECT_EQ(back[0].kind, Kind::loosens);
    EXPECT_TRUE(back[0].there.empty());
}

TEST(Merge, FiguresThatContradictStandSideBySideWithTheirSources) {
    const Family f = load_family_text(dunnock()).family;
    ASSERT_TRUE(f.supply);
    const std::string mine = dunnock();
    const std::size_t at = mine.find("lowest_V = "), end = mine.find('\n', at);
    const std::string line = mine.substr(at, end - at);
    const std::string higher = with(mine, line, "lowest_V = 11.9"), lower = with(mine, line, "lowest_V = 3");
    const auto up = differences(mine, higher), down = differences(mine, lower);
    ASSERT_EQ(up.size(), 1u);
    EXPECT_EQ(up[0].kind, Kind::tightens);
    ASSERT_EQ(down.size(), 1u);
    EXPECT_EQ(down[0].kind, Kind::loosens);
    EXPECT_EQ(down[0].entry, "supply");
    ASSERT_EQ(down[0].there.size(), 1u);
    EXPECT_EQ(down[0].there[0], "lowest_V = 3");
    ASSERT_EQ(down[0].here.size(), 1u);
    EXPECT_TRUE(down[0].here[0].starts_with("lowest_V = "));
    // Everything else of the file stays as it was.
    const auto out = merged(mine, lower, {0});
    ASSERT_TRUE(out);
    EXPECT_DOUBLE_EQ(load_family_text(*out).family.supply->lowest_V, 3);
    EXPECT_EQ(out->size(), mine.size() - line.size() + std::string("lowest_V = 3").size());
}

TEST(Merge, BootOrderIsOneEntryAndAlwaysAsked) {
    const std::string theirs = with(dunnock(), "whole_new_cells = \"kept\"", "whole_new_cells = \"rewritten\"");
    const auto d = differences(dunnock(), theirs);
    ASSERT_EQ(d.size(), 1u);
    EXPECT_EQ(d[0].entry, "boot");
    EXPECT_NE(d[0].kind, Kind::tightens);
}

TEST(Merge, AnotherOrderOfStatesIsSettledByHand) {
    const std::string theirs =
        with(dunnock(), "[[act]]\nid = \"end\"",
             "[[act]]\nid = \"rests\"\nkind = \"wait\"\nbox = \"main\"\nwords = \"rests\"\n\n[[act]]\nid = \"end\"");
    const auto d = differences(dunnock(), theirs);
    ASSERT_FALSE(d.empty());
    for (const Difference& x : d)
        if (x.entry == "act rests") {
            EXPECT_EQ(x.kind, Kind::by_hand);
        }
    const auto out = merged(dunnock(), theirs, {0});
    ASSERT_TRUE(out);
    EXPECT_EQ(load_family_text(*out).family.script.size(), load_family_text(dunnock()).family.script.size());
}

TEST(Merge, AnEntryWithoutASectionOfItsOwnIsShownAndLeftToAPerson) {
    const std::string theirs = "mend = [{ kind = \"wait\", most = 1, source = \"guess\" }]\n" + dunnock();
    ASSERT_TRUE(load_family_text(theirs).mistakes.empty());
    const auto d = differences(dunnock(), theirs);
    ASSERT_EQ(d.size(), 1u);
    EXPECT_EQ(d[0].kind, Kind::by_hand);
    EXPECT_EQ(d[0].entry, "mend wait");
    EXPECT_EQ(*merged(dunnock(), theirs, {0}), dunnock());
    EXPECT_TRUE(differences(theirs, theirs).empty());
}

// Whatever is taken for a tightening may be taken by itself: no loosening comes with it.
TEST(Merge, WhatTightensNeverLoosens) {
    const std::string mine = dunnock();
    const std::string theirs = with(mine, "level = \"L5\"", "level = \"L4\"") +
                               "\n[[hold]]\nid = \"heater\"\nwords = \"the heater stays off\"\n";
    const auto d = differences(mine, theirs);
    std::set<std::size_t> tighten;
    for (std::size_t i = 0; i < d.size(); ++i)
        if (d[i].kind == Kind::tightens) tighten.insert(i);
    EXPECT_EQ(tighten.size(), 2u);
    const auto out = merged(mine, theirs, tighten);
    ASSERT_TRUE(out);
    for (const Change& c : compare_families(load_family_text(mine).family, load_family_text(*out).family))
        EXPECT_FALSE(c.loosens) << c.key;
}

}  // namespace
}  // namespace fettle::family
