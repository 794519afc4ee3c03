#include <gtest/gtest.h>

#include "fettle/base/digest.h"
#include "fettle/base/source_path.h"
#include "fettle/family/release.h"

namespace fettle::family {
namespace {

const Family& dunnock() {
    static const Family f = load_family(source_path("families/dunnock.toml")).value();
    return f;
}

const std::string good = R"({
  "family": "dunnock", "release": "27.3.118", "markets": ["NS", "MD"], "installs_from": "27.1.110",
  "counter": 1, "no_return": false, "cures": ["Reversing picture freezes"],
  "pieces": [
    {"name": "boot", "box": "main", "region": "start", "version": "27.3.118", "file": "main/boot.bin", "bytes": 10,
     "sha256": "BA7816BF8F01CFEA414140DE5DAE2223B00361A396177A9CB410FF61F20015AD"},
    {"name": "sys", "box": "display", "region": "system", "version": "27.3.118", "file": "d/sys.bin", "bytes": 20,
     "sha256": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", "issues": ["A", "B"]}
  ]})";

std::string with(std::string text, const std::string& from, const std::string& to) {
    const auto at = text.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    return text.replace(at, from.size(), to);
}

std::string problem_of(const std::string& text) {
    const auto r = read_index(dunnock(), text);
    return r ? "" : r.error().problem;
}

TEST(ReadIndex, ReadsEveryMappedItem) {
    const auto r = read_index(dunnock(), good);
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->release, "27.3.118");
    EXPECT_EQ(r->markets, (std::vector<std::string>{"NS", "MD"}));
    EXPECT_EQ(r->installs_from, "27.1.110");
    EXPECT_EQ(r->counter, 1);
    EXPECT_FALSE(r->one_way_door);
    EXPECT_EQ(r->cures.size(), 1u);
    EXPECT_EQ(r->bytes(), 30u);
    EXPECT_EQ(r->index_sha256, sha256_hex(good));
    ASSERT_NE(r->piece("main", "boot"), nullptr);
    EXPECT_EQ(r->piece("main", "boot")->files[0].digests.at("sha256").substr(0, 8), "ba7816bf");  // lower case
    EXPECT_EQ(r->piece("display", "sys")->issues.size(), 2u);
    EXPECT_EQ(r->piece("main", "sys"), nullptr);
}

TEST(ReadIndex, WhatTheIndexDoesNotSayStaysUnsaid) {
    std::string text = with(good, R"("markets": ["NS", "MD"], "installs_from": "27.1.110",)", "");
    text = with(text, R"("counter": 1, "no_return": false,)", "");
    const auto r = read_index(dunnock(), text);
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_TRUE(r->markets.empty());
    EXPECT_TRUE(r->installs_from.empty());
    EXPECT_FALSE(r->counter);
}

TEST(ReadIndex, EveryFaultIsNamedAtItsPointer) {
    struct {
        const char *from, *to, *expected;
    } cases[] = {
        {R"("release": "27.3.118",)", "", "/release: is missing"},
        {R"("release": "27.3.118",)", R"("release": 27,)", "/release: is a number; a text was expected"},
        {R"(["NS", "MD"])", R"("NS")", "/markets: is a text; a list of texts was expected"},
        {R"(["NS", "MD"])", R"(["NS", 3])", "/markets/1: is a number; a text was expected"},
        {R"("counter": 1)", R"("counter": -1)", "/counter: is -1"},
        {R"("no_return": false)", R"("no_return": "no")", "/no_return: is a text; true or false was expected"},
        {R"("bytes": 20)", R"("bytes": 2.5)", "/pieces/1/bytes: is"},
        {R"("bytes": 20)", R"("bytes": 18446744073709551615)", "/pieces/1/bytes: is 18446744073709551615"},
        {R"("bytes": 20)", R"("bytes": 9223372036854775807)", "/pieces: the sizes add up"},
        {R"("box": "display")", R"("box": "amp")", "/pieces/1/box: is \"amp\"; family dunnock has no box of that role"},
        {R"("region": "start")", R"("region": "strat")", "/pieces/0/region: is \"strat\""},
        {R"(15ad", "issues")", R"(15a", "issues")", "/pieces/1/sha256: is no sha256 digest; 64 hex digits"},
        {R"("name": "sys", "box": "display", "region": "system")",
         R"("name": "boot", "box": "main", "region": "start")",
         "/pieces/1/name: is \"boot\" a second time for the main box"},
        {R"("file": "d/sys.bin")", R"("file": "")", "/pieces/1/file: is empty"},
        {R"("file": "d/sys.bin")", R"("file": "d\u0000x")", "/pieces/1/file: holds a NUL"},
    };
    for (const auto& c : cases) {
        const std::string problem = problem_of(with(good, c.from, c.to));
        EXPECT_NE(problem.find(c.expected), std::string::npos) << c.to << " gave: " << problem;
    }
}

TEST(ReadIndex, SeveralFaultsComeInOnePass) {
    const std::string text = with(with(good, R"("release": "27.3.118",)", ""), R"("bytes": 10)", R"("bytes": "ten")");
    const std::string problem = problem_of(text);
    EXPECT_NE(problem.find("/release"), std::string::npos);
    EXPECT_NE(problem.find("/pieces/0/bytes"), std::string::npos);
}

// A list of commas takes thirty times its size in memory: refused before it is read.
TEST(ReadIndex, AnIndexOfNothingButValuesIsRefused) {
    std::string text = "[1";
    while (text.size() < 500000) text += ",1";
    const auto r = read_index(dunnock(), text + "]");
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().code, "index-faults");
    EXPECT_NE(r.error().problem.find("200,000"), std::string::npos);
}

TEST(ReadIndex, ManyFaultsAreCounted) {
    std::string pieces;
    for (int i = 0; i < 50; ++i) pieces += i ? ",{}" : "{}";
    const std::string problem = problem_of(R"({"family":"dunnock","release":"1","pieces":[)" + pieces + "]}");
    EXPECT_NE(problem.find("more faults"), std::string::npos);
    EXPECT_LT(problem.size(), 5000u);
}

TEST(ReadIndex, RefusesOtherShapes) {
    for (const char* text : {"", "[]", "null", "3", R"({"pieces":[]})", R"({"pieces":{}})", "{", "\xFF"})
        EXPECT_FALSE(read_index(dunnock(), text)) << text;
}

TEST(ReadIndex, NeedsThePackageSection) {
    Family f = dunnock();
    f.package.reset();
    const auto r = read_index(f, good);
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().code, "package-rule-missing");
}

// Another maker's layout: the mapping is the family file's, not the reader's (RFC 6901 escapes included).
TEST(ReadIndex, FollowsTheMapping) {
    Family f = dunnock();
    f.package->release_fields = {{"release", "/meta/ver"}, {"pieces", "/a~1b"}};
    f.package->piece_fields = {{"name", "/n"}, {"box", "/where/0"}, {"region", "/where/1"}, {"version", "/v"},
                               {"file", "/f"}, {"size", "/s"},      {"crc32", "/crc"}};
    const auto r = read_index(f, R"({"meta":{"ver":"9.1.1"},"a/b":[
        {"n":"x","where":["main","kernel"],"v":"1","f":"x.bin","s":7,"crc":"CBF43926"}]})");
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_EQ(r->family, "");
    EXPECT_EQ(r->pieces[0].region, "kernel");
    EXPECT_EQ(r->pieces[0].files[0].digests.at("crc32"), "cbf43926");
}

}  // namespace
}  // namespace fettle::family
