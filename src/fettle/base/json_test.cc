#include "fettle/base/json.h"

#include <gtest/gtest.h>

#include "fettle/base/text.h"

namespace fettle {
namespace {

TEST(Json, NamesThePlaceOfTheFirstFault) {
    const auto r = parse_json("{\n  \"a\": 1,\n  \"b\": x\n}", "release.json");
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().code, "json-unreadable");
    EXPECT_EQ(r.error().place.words().rfind("release.json:3:", 0), 0u) << r.error().place.words();
}

TEST(Json, RefusesCutAndDoubledDocuments) {
    for (const char* s : {"", "{", "[1,2", "{} {}", "nul", "\"a"}) EXPECT_FALSE(parse_json(s, "x")) << s;
    EXPECT_TRUE(parse_json(" {} \n", "x"));
}

TEST(Json, NestingIsBounded) {
    EXPECT_TRUE(parse_json(std::string(30, '[') + std::string(30, ']'), "x"));
    EXPECT_FALSE(parse_json(std::string(33, '[') + std::string(33, ']'), "x"));
    EXPECT_FALSE(parse_json(std::string(100000, '['), "x"));
}

TEST(Json, PrettyCanBeReadAgain) {
    const auto v = parse_json(R"({"b":[1,{"c":null}],"a":"x\ny","e":{},"f":[]})", "x").value();
    const std::string text = pretty(v);
    EXPECT_EQ(text.back(), '\n');
    EXPECT_EQ(parse_json(text, "x").value(), v);
    EXPECT_LT(text.find("\"b\""), text.find("\"a\""));  // the order in which they were set
}

// RFC 8259, section 8.1: JSON text is UTF-8.
TEST(Json, PrettyIsUtf8WithoutControlsWhateverATextHolds) {
    const json::object o{{"k\xFF", "a\xFF\x80z"}, {"turned", "\u202Eab\u009B31m\x7F\x1b"}};
    const std::string text = pretty(o);
    EXPECT_TRUE(is_utf8(text));
    for (const char* hidden : {"\u202E", "\u009B", "\x7F", "\x1b"}) EXPECT_EQ(text.find(hidden), std::string::npos);
    const auto back = parse_json(text, "x").value().as_object();
    EXPECT_EQ(text_of(back, "k\\xff"), "a\\xff\\x80z");
    EXPECT_EQ(text_of(back, "turned"), "\u202Eab\u009B31m\x7F\x1b");
}

TEST(Json, MembersWithFallback) {
    const auto v = parse_json(R"({"t":"x","n":2.5,"u":18446744073709551615})", "x").value();
    const json::object& o = v.as_object();
    EXPECT_EQ(text_of(o, "t"), "x");
    EXPECT_EQ(text_of(o, "n", "none"), "none");
    EXPECT_EQ(text_of(o, "absent"), "");
    EXPECT_EQ(number_of(o, "n"), 2.5);
    EXPECT_EQ(number_of(o, "t", -1), -1);
}

TEST(Json, Lists) {
    EXPECT_EQ(json::serialize(texts_as_json({"a", "b"})), R"(["a","b"])");
    EXPECT_EQ(json::serialize(list_as_json(std::vector<int>{1, 2}, [](int n) { return 2 * n; })), "[2,4]");
    EXPECT_EQ(json::serialize(list_as_json(std::vector<int>(), [](int n) { return n; })), "[]");
}

}  // namespace
}  // namespace fettle
