// Editing a family file in single places: everything around stays byte for byte.
#include "fettle/family/edit.h"

#include <gtest/gtest.h>

namespace fettle::family {
namespace {

const std::string text =
    "# my notes\n"
    "[family]\n"
    "id = \"wren\"   # short\n"
    "level = \"L0\"  # thin, # still\n"
    "\n"
    "[[act]]  # first\n"
    "id = \"works\"\n"
    "seconds = { median = 3, p90 = 5, source = \"guess\" } # by ear\n"
    "words = '''a\n"
    "b'''\n"
    "# a remark between\n"
    "[[act]]\n"
    "id = \"end\"\n"
    "answers = [\n"
    "  1,\n"
    "]\n"
    "[act.deep]\n"
    "x = 1";

TEST(Edit, ReplacesOneValueAndKeepsTheRemarkBehindIt) {
    auto out = set_value(text, {"act", 0, "seconds", "{ median = 4 }", "not taken"});
    ASSERT_TRUE(out);
    std::string expected = text;
    const std::string old = "{ median = 3, p90 = 5, source = \"guess\" }";
    expected.replace(expected.find(old), old.size(), "{ median = 4 }");
    EXPECT_EQ(*out, expected);

    out = set_value(text, {"family", -1, "level", "\"L3\"", ""});
    ASSERT_TRUE(out);
    EXPECT_NE(out->find("level = \"L3\"  # thin, # still\n"), std::string::npos);
}

TEST(Edit, PutsANewKeyBehindTheLastOfItsSection) {
    const auto out = set_value(text, {"act", 1, "shows", "\"Turn \\\"it\\\"\"", "as typed"});
    ASSERT_TRUE(out);
    EXPECT_NE(out->find("id = \"end\"\nshows = \"Turn \\\"it\\\"\"  # as typed\nanswers = [\n"), std::string::npos);
    EXPECT_EQ(out->size(), text.size() + std::string("shows = \"Turn \\\"it\\\"\"  # as typed\n").size());
    EXPECT_EQ(out->back(), '1');  // no line end came to the last line
}

TEST(Edit, LeavesToAPersonWhatIsNotOneLine) {
    for (const ValueEdit& e : {ValueEdit{"act", 0, "words", "\"x\"", ""}, ValueEdit{"act", 1, "answers", "[2]", ""},
                               ValueEdit{"act", 1, "deep", "{}", ""}, ValueEdit{"act", 7, "id", "\"x\"", ""},
                               ValueEdit{"none", -1, "id", "\"x\"", ""}}) {
        const auto out = set_value(text, e);
        ASSERT_FALSE(out) << e.key;
        EXPECT_EQ(out.error().code, "edit-by-hand");
    }
    EXPECT_EQ(set_value("a = ", {"family", -1, "id", "1", ""}).error().code, "not-toml");
}

TEST(Edit, KeepsLineEndsAndQuotesWithHashes) {
    const auto out = set_value("[a]\r\nb = \"x # y\" # z\r\n", {"a", -1, "b", "2", ""});
    ASSERT_TRUE(out);
    EXPECT_EQ(*out, "[a]\r\nb = 2 # z\r\n");
    EXPECT_EQ(*set_value("[a]\r\nb = 1\r\n", {"a", -1, "c", "2", ""}), "[a]\r\nb = 1\r\nc = 2\r\n");
    EXPECT_EQ(with_block("x = 1", "[b]\n"), "x = 1\n\n[b]\n");
    EXPECT_EQ(toml_text("a\"\\\n\x7f"), "\"a\\\"\\\\\\u000A\\u007F\"");
    EXPECT_EQ(toml_number(12.04), "12");
    EXPECT_EQ(toml_number(12.25), "12.3");
}

}  // namespace
}  // namespace fettle::family
