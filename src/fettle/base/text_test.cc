#include "fettle/base/text.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace fettle {
namespace {

RC_GTEST_PROP(Text, JoinedPartsSplitAgain, (const std::vector<std::string>& drawn)) {
    std::vector<std::string> parts = drawn;
    for (auto& p : parts) std::erase(p, ',');
    if (parts.empty()) parts.emplace_back();
    RC_ASSERT(split(join(parts, ","), ',') == parts);
}

TEST(Text, Trim) {
    EXPECT_EQ(trim(" \t a b\r\n"), "a b");
    EXPECT_EQ(trim(" \n"), "");
    EXPECT_EQ(trim(""), "");
}

TEST(Text, HumanBytes) {
    EXPECT_EQ(human_bytes(0), "0 bytes");
    EXPECT_EQ(human_bytes(1023), "1023 bytes");
    EXPECT_EQ(human_bytes(1024), "1 KiB");
    EXPECT_EQ(human_bytes(39u << 20), "39.0 MiB");
    EXPECT_EQ(human_bytes(1600ull << 20), "1,600 MiB");
}

// Unicode 15, table 3-7 (well-formed UTF-8 byte sequences): the edges of every row.
TEST(Text, Utf8Edges) {
    for (const char* good : {"", "a", "\xC2\x80", "\xDF\xBF", "\xE0\xA0\x80", "\xED\x9F\xBF", "\xEE\x80\x80",
                             "\xF0\x90\x80\x80", "\xF4\x8F\xBF\xBF"})
        EXPECT_TRUE(is_utf8(good)) << printable(good);
    for (const char* bad : {"\x80", "\xC1\xBF", "\xC2", "\xC2\x41", "\xE0\x9F\xBF", "\xED\xA0\x80", "\xEF\xBF",
                            "\xF0\x8F\xBF\xBF", "\xF4\x90\x80\x80", "\xF5\x80\x80\x80", "\xFF"})
        EXPECT_FALSE(is_utf8(bad)) << printable(bad);
}

TEST(Text, PrintableHidesNothing) {
    EXPECT_EQ(printable("a\x1b[2J\n\x7F"), "a\\x1b[2J\\x0a\\x7f");
    EXPECT_EQ(printable("Stra\xC3\x9F"
                        "e \xFF"),
              "Stra\xC3\x9F"
              "e \\xff");
    EXPECT_EQ(printable("\xC2\x9B"), "\\xc2\\x9b");  // a C1 control character: CSI
}

RC_GTEST_PROP(Text, PrintableIsAlwaysUtf8WithoutControls, (const std::string& s)) {
    const std::string shown = printable(s);
    RC_ASSERT(is_utf8(shown));
    for (const char c : shown) RC_ASSERT(static_cast<unsigned char>(c) >= 0x20 && c != 0x7F);
}

}  // namespace
}  // namespace fettle
