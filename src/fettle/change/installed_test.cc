#include <gtest/gtest.h>

#include "fettle/change/list_text.h"
#include "fettle/change/test_releases.h"

namespace fettle::change {
namespace {

using namespace test;

TEST(ParseInstalled, ReadsLinesCommentsAndDigests) {
    const auto list = parse_installed("# as found\nmain kernel 3.0\r\n\n  display\tpicture-0  3.1 " +
                                          std::string(64, 'c') + " # read off the screen\n",
                                      "list.txt");
    ASSERT_TRUE(list) << list.error().message();
    EXPECT_EQ(list->origin, Origin::typed);
    ASSERT_EQ(list->pieces.size(), 2u);
    EXPECT_EQ(list->find("main", "kernel")->version, "3.0");
    EXPECT_EQ(list->find("display", "picture-0")->sha256, std::string(64, 'c'));
}

TEST(ParseInstalled, EachFaultNamesItsLine) {
    const struct {
        const char* text;
        const char* code;
        const char* place;
    } cases[] = {
        {"main kernel 3.0\nmain loader\n", "as-found-line", "list.txt, line 2"},
        {"main kernel 3.0 abc\n", "as-found-digest", "list.txt, line 1"},
        {"main kernel 3.0\nmain kernel 3.0\n", "as-found-twice", "list.txt, line 2"},
        {"main \xff 3.0\n", "as-found-encoding", "list.txt, line 1"},
        {"# nothing\n", "as-found-empty", "list.txt"},
        {"main a 1\nmain ker\x1bnel 3.0\n", "as-found-encoding", "list.txt, line 2"},
        {"main ker\xe2\x80\xaenel 3.0\n", "as-found-encoding", "list.txt, line 1"},
    };
    for (const auto& c : cases) {
        const auto list = parse_installed(c.text, "list.txt");
        ASSERT_FALSE(list) << c.text;
        EXPECT_EQ(list.error().code, c.code);
        EXPECT_EQ(list.error().place, c.place);
        EXPECT_FALSE(list.error().next.empty());
    }
}

TEST(ParseInstalled, AByteOrderMarkIsNoPartOfABoxName) {
    const auto list = parse_installed("\xef\xbb\xbfmain kernel 3.0", "l");
    ASSERT_TRUE(list) << list.error().message();
    EXPECT_NE(list->find("main", "kernel"), nullptr);
}

TEST(ParseInstalled, MoreThanAnyBoxHasIsRefused) {
    std::string text = "# a wrong file\n";
    for (std::size_t i = 0; i <= most_listed; ++i) text += "main p" + std::to_string(i) + " 1\n";
    const auto list = parse_installed(text, "l");
    ASSERT_FALSE(list);
    EXPECT_EQ(list.error().code, "as-found-long");
    EXPECT_EQ(list.error().place, "l, line 10002");
}

TEST(ParseInstalled, APieceNamedTwiceTellsBothLines) {
    const auto list = parse_installed("main kernel 3.0\ndisplay a 1\nmain kernel 3.1\n", "l");
    ASSERT_FALSE(list);
    EXPECT_NE(list.error().problem.find("line 1"), std::string::npos);
}

TEST(Infer, LeavesOutWhatDoesNotApply) {
    auto r = release("27.1.110", "3.0");
    r.pieces[0].issues = {"X"};
    const auto list = infer(r, set_at("27.1.110"));
    EXPECT_EQ(list.origin, Origin::inferred);
    EXPECT_EQ(list.inferred_from, "27.1.110");
    EXPECT_EQ(list.find("main", "rescue"), nullptr);
    EXPECT_EQ(list.pieces.size(), r.pieces.size() - 1);
}

}  // namespace
}  // namespace fettle::change
