#include "fettle/base/text.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace fettle {
namespace {

TEST(Text, SplitKeepsEmptyParts) {
    EXPECT_EQ(split("a,,b,", ','), (std::vector<std::string>{"a", "", "b", ""}));
    EXPECT_EQ(split("", ','), (std::vector<std::string>{""}));
}

RC_GTEST_PROP(Text, SplitAndJoinAreOpposites, (const std::string& s)) {
    RC_ASSERT(join(split(s, ','), ",") == s);
}

TEST(Text, TrimTakesBlanksFromBothEnds) {
    EXPECT_EQ(trim(" \t a b\r\n"), "a b");
    EXPECT_EQ(trim(" \n"), "");
    EXPECT_EQ(trim(""), "");
}

TEST(Text, ANumberIsTheWholeTextOrNone) {
    EXPECT_EQ(number_in<int>("-12"), -12);
    EXPECT_EQ(number_in<std::uint8_t>("fF", 16), 255);
    EXPECT_EQ(number_in<double>("1.5e2"), 150);
    for (const char* none : {"", " 1", "1 ", "+1", "1x", "0x1", "-1", "256", "1.0"})
        EXPECT_EQ(number_in<std::uint8_t>(none), std::nullopt) << none;
    for (const char* none : {"", "nan", "inf", "-inf", "1e999", "1,5", " 1"})
        EXPECT_EQ(number_in<double>(none), std::nullopt) << none;
}
RC_GTEST_PROP(Text, NumbersComeBack, (std::int64_t n)) {
    RC_ASSERT(number_in<std::int64_t>(std::to_string(n)) == n);
}

TEST(Text, OneOrMore) {
    EXPECT_EQ(plural(0, "file"), "0 files");
    EXPECT_EQ(plural(1, "file"), "1 file");
    EXPECT_EQ(plural(2, "box", "boxes"), "2 boxes");
    EXPECT_EQ(plural(1, "box", "boxes"), "1 box");
}

TEST(Text, LettersAlone) {
    EXPECT_EQ(lower("Ab9-Z\xc3\x84"), "ab9-z\xc3\x84");  // letters beyond ASCII stay as they are
    EXPECT_EQ(upper("aB9[z{"), "AB9[Z{");
}

TEST(Text, LinesEndWithOrWithoutReturn) {
    std::vector<std::string> seen;
    Lines lines(
        "\xef\xbb\xbf"
        "a\r\n\n b\rc\nlast");
    for (std::string_view line; lines.next(line);)
        seen.push_back(std::to_string(lines.number()) + ":" + std::string(line));
    EXPECT_EQ(seen, (std::vector<std::string>{"1:a", "2:", "3: b\rc", "4:last"}));
    std::string_view line;
    EXPECT_FALSE(Lines("").next(line));
    EXPECT_FALSE(Lines("\xef\xbb\xbf").next(line));
}
RC_GTEST_PROP(Text, LinesJoinedAreTheText, ()) {
    const auto parts = *rc::gen::container<std::vector<std::string>>(
        rc::gen::container<std::string>(rc::gen::elementOf(std::string("ab c"))));
    std::vector<std::string> seen;
    const std::string text = join(parts, "\n");
    Lines lines(text);
    for (std::string_view line; lines.next(line);) seen.emplace_back(line);
    if (!text.empty() && text.ends_with('\n')) seen.emplace_back();  // nothing behind the last end is no line
    RC_ASSERT(join(seen, "\n") == text);
}

TEST(Text, HumanBytesAtItsBorders) {
    EXPECT_EQ(human_bytes(0), "0 bytes");
    EXPECT_EQ(human_bytes(1023), "1023 bytes");
    EXPECT_EQ(human_bytes(1024), "1 KiB");
    EXPECT_EQ(human_bytes(1024ull * 1024 * 39), "39.0 MiB");
    EXPECT_EQ(human_bytes(1024ull * 1024 * 1600), "1,600 MiB");
}

// Well-formed and ill-formed sequences of the Unicode standard, table 3-7 (from memory).
TEST(Text, Utf8ByTheTable) {
    for (const char* good :
         {"", "a", "\xC2\x80", "\xE0\xA0\x80", "\xED\x9F\xBF", "\xEE\x80\x80", "\xF0\x90\x80\x80", "\xF4\x8F\xBF\xBF"})
        EXPECT_TRUE(is_utf8(good)) << printable(good);
    for (const char* bad : {"\x80", "\xC0\x80", "\xC1\xBF", "\xC2", "\xE0\x9F\xBF", "\xED\xA0\x80", "\xE2\x82",
                            "\xF0\x8F\xBF\xBF", "\xF4\x90\x80\x80", "\xF5\x80\x80\x80", "\xFF", "a\xFE"})
        EXPECT_FALSE(is_utf8(bad)) << printable(bad);
}

TEST(Text, PrintableShowsWhatCouldMislead) {
    EXPECT_EQ(printable("a\x1b[2Jb\n"), "a\\x1b[2Jb\\x0a");
    EXPECT_EQ(printable("\xC2\x9B"), "\\xc2\\x9b");  // a control character of the C1 set
    EXPECT_EQ(printable("gr\xC3\xBC\xC3\x9F"), "gr\xC3\xBC\xC3\x9F");
    EXPECT_EQ(printable("\xFF"), "\\xff");
    EXPECT_EQ(printable("a\u202Eb"), "a\\xe2\\x80\\xaeb");  // U+202E: what follows is shown from right to left
    EXPECT_EQ(printable("\u2010 \u2065"), "\u2010 \u2065");
}

TEST(Text, OnlyOverlongWordsAreShortened) {
    const std::string usual = std::string(1000, 'a') + "  b " + std::string(999, 'c') + " ";
    EXPECT_EQ(shortened(usual), usual);
    EXPECT_EQ(shortened("x " + std::string(100000, 'a') + " y"),
              "x " + std::string(200, 'a') + "…[100000 bytes]…" + std::string(50, 'a') + " y");
    std::string wide = "z";  // so that neither border falls between two characters
    for (int i = 0; i < 1000; ++i) wide += "日";
    EXPECT_TRUE(is_utf8(shortened(wide)));
    EXPECT_LT(shortened(wide).size(), 300u);
    EXPECT_EQ(shortened(""), "");
}

RC_GTEST_PROP(Text, PrintableIsAlwaysUtf8WithoutControls, (const std::string& s)) {
    const std::string p = printable(s);
    RC_ASSERT(is_utf8(p));
    for (const char c : p) RC_ASSERT(static_cast<unsigned char>(c) >= 0x20 && c != 0x7F);
}

}  // namespace
}  // namespace fettle
