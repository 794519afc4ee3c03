#include "fettle/change/offered.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "fettle/change/test_releases.h"

namespace fettle::change {
namespace {

using namespace test;

struct Given {
    family::Release release = test::release("27.3.118", "4.0");
    ChangeSheet sheet;
    std::string list;
    Given() {
        const auto set = set_at("27.1.110");
        sheet = change_sheet(dunnock(), release, infer(test::release("27.1.110", "3.0"), set), set);
        for (const auto& l : sheet.lines) list += l.box + " " + l.name + " " + l.after + "\n";
    }
    OfferedAnswer ask(const std::string& text) const {
        return compare_offered(dunnock(), release, sheet, parse_offered(dunnock(), text, "list").value());
    }
};

TEST(Offered, AsExpected) {
    const Given g;
    const auto a = g.ask("# before the start\n" + g.list);
    EXPECT_EQ(a.listed, 10);
    EXPECT_EQ(a.expected, 10);
    EXPECT_EQ(a.judgement.verdict(), Verdict::fit);
    EXPECT_EQ(a.judgement.reasons.front().text, "10 listed, 10 expected, 0 surprises");
}

TEST(Offered, EverySurpriseIsNamed) {
    const Given g;
    const auto a = g.ask("loader 4.0\nkernel 3.9\nmystery\nrescue\n");
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
    ASSERT_EQ(a.surprises.size(), 9u);  // an older kernel, an unknown piece, and seven that are not listed
    EXPECT_EQ(a.surprises[0], "line 2: kernel is listed at version 3.9, 27.3.118 has 4.0");
    EXPECT_EQ(a.surprises[1], "line 3: mystery is listed, and is no piece of 27.3.118");
    EXPECT_EQ(a.surprises[2], "rescue-data of the main box is not listed");
    EXPECT_NE(a.judgement.reasons.front().text.find("and 4 more"), std::string::npos);
}

TEST(Offered, APieceListedTwiceIsASurprise) {
    const Given g;
    const auto a = g.ask(g.list + "loader 4.0\n");
    EXPECT_EQ(a.surprises, std::vector<std::string>{"line 11: loader is listed once more; it was on line 3"});
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
}

TEST(Offered, ANameThatTwoBoxesHaveIsMatchedByItsVersion) {
    Given g;
    Line display = *std::find_if(g.sheet.lines.begin(), g.sheet.lines.end(),
                                 [](const Line& l) { return l.name == "loader" && l.box == "main"; });
    display.box = "display";
    g.sheet.lines.push_back(display);
    auto piece = *g.release.piece("main", "loader");
    piece.box = "display";
    piece.version = "2.0";
    g.release.pieces.push_back(piece);
    std::string others = g.list;
    others.erase(others.find("main loader 4.0\n"), std::string("main loader 4.0\n").size());
    EXPECT_EQ(g.ask(others + "loader 2.0\nloader 4.0\n").surprises, std::vector<std::string>{});
    EXPECT_EQ(g.ask(others + "loader 2.0\nloader 2.0\n").surprises.size(), 1u);
}

TEST(Offered, APieceThatDoesNotApplyIsASurpriseUnlessTheBoxCountsIt) {
    Given g;
    auto& line = g.sheet.lines.back();
    line.action = Action::does_not_apply;
    line.because = "for issue B only";
    auto family = dunnock();
    family.tally->counts_not_applying = false;
    const auto list = parse_offered(family, g.list, "list").value();
    EXPECT_EQ(compare_offered(family, g.release, g.sheet, list).surprises.size(), 1u);
    family.tally->counts_not_applying = true;
    EXPECT_TRUE(compare_offered(family, g.release, g.sheet, list).surprises.empty());
}

TEST(Offered, AListOfMillionsIsRefusedAtOnce) {
    std::string text;
    for (int i = 0; i < 300000; ++i) text += std::to_string(i) + "\n";
    const auto r = parse_offered(dunnock(), text, "list");
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().code, "offered-long");
}

TEST(Offered, BadListsAreNamedByLine) {
    for (const auto& [text, code, place] : {std::tuple{"loader\na b c d\n", "offered-line", "list, line 2"},
                                            std::tuple{"amp loader 1.0\n", "offered-line", "list, line 1"},
                                            std::tuple{"# nothing\n", "offered-empty", "list"},
                                            std::tuple{"loader\nker\x07nel\n", "offered-encoding", "list, line 2"},
                                            std::tuple{"\xff\xfe", "offered-encoding", "list, line 1"}}) {
        const auto r = parse_offered(dunnock(), text, "list");
        ASSERT_FALSE(r) << text;
        EXPECT_EQ(r.error().code, code);
        EXPECT_EQ(r.error().place, place);
    }
}

}  // namespace
}  // namespace fettle::change
