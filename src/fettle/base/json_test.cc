#include "fettle/base/json.h"

#include <gtest/gtest.h>

namespace fettle {
namespace {

TEST(Json, PrettyReadsBackTheSame) {
    const auto v = parse_json(R"({"b": [1, 2.5, "x\n"], "a": {}, "c": {"d": null}})", "x").value();
    const std::string text = pretty(v);
    EXPECT_EQ(text,
              "{\n  \"b\": [\n    1,\n    2.5E0,\n    \"x\\n\"\n  ],\n  \"a\": {},\n  \"c\": {\n    \"d\": null\n"
              "  }\n}\n");
    EXPECT_EQ(parse_json(text, "x").value(), v);
}

TEST(Json, MistakesAreShownByLineAndColumn) {
    const auto cut = parse_json("{\n  \"a\": [1,", "index.json");
    EXPECT_EQ(cut.error().code, "json-unreadable");
    EXPECT_EQ(cut.error().place, "index.json:2:11");
    EXPECT_EQ(parse_json("{} {}", "x").error().place, "x:1:4");
    EXPECT_EQ(parse_json("", "x").error().place, "x:1:1");
}

TEST(Json, NestingIsBounded) {
    const auto nested = [](int n) {
        return std::string(static_cast<std::size_t>(n), '[') + std::string(static_cast<std::size_t>(n), ']');
    };
    EXPECT_TRUE(parse_json(nested(32), "x"));
    EXPECT_FALSE(parse_json(nested(33), "x"));
    EXPECT_FALSE(parse_json(nested(100000), "x"));
}

TEST(Json, MembersOfAnotherKindGiveTheFallback) {
    const json::object o = {{"t", "text"}, {"n", 7}};
    EXPECT_EQ(text_of(o, "t"), "text");
    EXPECT_EQ(text_of(o, "n", "none"), "none");
    EXPECT_EQ(text_of(o, "x", "none"), "none");
    EXPECT_EQ(number_of(o, "n"), 7);
    EXPECT_EQ(number_of(o, "t", -1), -1);
}

}  // namespace
}  // namespace fettle
