#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cstdio>
#include <cstdlib>
#include <memory>
#include <random>

#include "fettle/base/test_csv.h"
#include "fettle/family/family.h"

namespace fettle::family {
namespace {

const VersionOrder numeric{"numeric", {}, {"line", "step", "build"}};
const VersionOrder semver{"semver", {}, {}};
const VersionOrder debian{"debian", {}, {}};

// Semantic Versioning 2.0.0 clause 11 (published).
TEST(Versions, SemverOrder) {
    for (const CsvRow& row : read_csv("semver-order.csv")) {
        const int expected = row.at("relation") == "<" ? -1 : 0;
        EXPECT_EQ(compare_versions(semver, row.at("lower"), row.at("higher")), expected) << row.at("lower");
        EXPECT_EQ(compare_versions(semver, row.at("higher"), row.at("lower")), -expected) << row.at("lower");
    }
}

// Clauses 2, 9, 10 (published, memory, derived: see the table's mark).
TEST(Versions, SemverValidity) {
    for (const CsvRow& row : read_csv("semver-validity.csv")) {
        const std::string& v = row.at("version");
        EXPECT_EQ(compare_versions(semver, v, v).has_value(), row.at("valid") == "yes") << v;
    }
}

// Debian Policy 5.6.12; every row was run through a reference implementation.
TEST(Versions, DebianOrder) {
    for (const CsvRow& row : read_csv("debian-order.csv")) {
        const int expected = row.at("relation") == "lt" ? -1 : 0;
        EXPECT_EQ(compare_versions(debian, row.at("a"), row.at("b")), expected) << row.at("a") << " " << row.at("b");
        EXPECT_EQ(compare_versions(debian, row.at("b"), row.at("a")), -expected) << row.at("a") << " " << row.at("b");
    }
}

// Made-up versions against dpkg itself, all in one shell so that little is started.
TEST(Versions, DebianOrderIsThatOfDpkg) {
    if (std::system("command -v dpkg >/dev/null") != 0) GTEST_SKIP() << "skipped: there is no dpkg";
    std::mt19937_64 random(std::random_device{}());
    const auto part = [&] {
        std::string out = std::to_string(random() % 3);
        for (auto n = random() % 5; n > 0; --n) out += "019.~+abz"[random() % 9];
        return out;
    };
    const auto version = [&] {
        return (random() % 4 == 0 ? std::to_string(random() % 2) + ":" : "") + part() +
               (random() % 3 == 0 ? "-" + part() : "");
    };
    std::vector<std::pair<std::string, std::string>> pairs;
    std::string script;
    for (int i = 0; i < 40; ++i) {
        pairs.emplace_back(version(), version());
        const auto& [a, b] = pairs.back();
        script += "if dpkg --compare-versions '" + a + "' lt '" + b +
                  "'; then echo -1; elif dpkg --compare-versions '" + a + "' eq '" + b +
                  "'; then echo 0; else echo 1; fi\n";
    }
    std::unique_ptr<FILE, int (*)(FILE*)> shell(popen(script.c_str(), "r"), pclose);
    for (const auto& [a, b] : pairs) {
        int said = 9;
        ASSERT_EQ(std::fscanf(shell.get(), "%d", &said), 1);
        EXPECT_EQ(compare_versions(debian, a, b), said) << a << " and " << b;
    }
}

TEST(Versions, DebianValidity) {
    for (const char* bad : {"", ":1", "a:1", "1:", "1-", "x1", "1_2", "1 2", "1.0-a_b"})
        EXPECT_EQ(compare_versions(debian, bad, bad), std::nullopt) << bad;
    EXPECT_EQ(compare_versions(debian, "1:2-3-4", "1:2-3-4"), 0);
}

// 1.0-rc1 is above 1.0 in Debian's order and 1.0.0-rc1 below 1.0.0 in SemVer's.
TEST(Versions, TheTwoRulesDifferWhereTheyShould) {
    EXPECT_EQ(compare_versions(debian, "1.0", "1.0-rc1"), -1);
    EXPECT_EQ(compare_versions(semver, "1.0.0-rc1", "1.0.0"), -1);
}

TEST(Versions, NumericComparesNumbersNotText) {
    EXPECT_EQ(compare_versions(numeric, "26.1.090", "26.4.102"), -1);
    EXPECT_EQ(compare_versions(numeric, "27.10.1", "27.9.1"), 1);
    EXPECT_EQ(compare_versions(numeric, "26.1.090", "26.1.90"), 0);
    EXPECT_EQ(compare_versions(numeric, "27.1", "27.1.0"), -1);
    const std::string huge = "1" + std::string(50, '0');
    EXPECT_EQ(compare_versions(numeric, huge + ".1", huge + ".2"), -1);
    for (const char* bad : {"", ".", "1.", ".1", "1..2", "1.a", "-1", "1.2 "})
        EXPECT_EQ(compare_versions(numeric, bad, bad), std::nullopt) << bad;
}

TEST(Versions, AListKnowsOnlyItsOwn) {
    const VersionOrder list{"list", {"Alder", "Birch", "Cedar"}, {}};
    EXPECT_EQ(compare_versions(list, "Cedar", "Alder"), 1);
    EXPECT_EQ(compare_versions(list, "Birch", "Birch"), 0);
    EXPECT_EQ(compare_versions(list, "Birch", "Elm"), std::nullopt);
    EXPECT_EQ(compare_versions({"", {}, {}}, "1", "1"), std::nullopt);
}

TEST(Versions, FieldsByName) {
    EXPECT_EQ(version_field(numeric, "27.3.118", "line"), "27");
    EXPECT_EQ(version_field(numeric, "27.3.118", "build"), "118");
    EXPECT_EQ(version_field(numeric, "27.3", "build"), std::nullopt);
    EXPECT_EQ(version_field(numeric, "27.3.118", "colour"), std::nullopt);
    EXPECT_EQ(version_field(numeric, "27.x.118", "line"), std::nullopt);
}

TEST(Versions, PairRulesTakenApart) {
    const auto p = parse_pair("display.line  == main.line");
    ASSERT_TRUE(p);
    EXPECT_EQ(p->left.role, "display");
    EXPECT_EQ(p->right.field, "line");
    EXPECT_EQ(p->op, "==");
    for (const char* bad : {"", "a.b", "a.b == c", "a.b = c.d", "a.b < c.d", ".b == c.d", "a. == c.d", "a.b.c == d.e"})
        EXPECT_FALSE(parse_pair(bad)) << bad;
}

// A total order: equal to itself, antisymmetric, transitive.
std::string random_version(const std::string& alphabet) {
    std::string v = *rc::gen::element<std::string>("0", "1", "2");
    const auto n = *rc::gen::inRange(0, 6);
    for (int i = 0; i < n; ++i) v += alphabet[*rc::gen::inRange<std::size_t>(0, alphabet.size())];
    return v;
}

void check_order(const VersionOrder& order, const std::string& prefix, const std::string& alphabet) {
    std::vector<std::string> v;
    for (int i = 0; i < 3; ++i) v.push_back(prefix + random_version(alphabet));
    int order_of[3][3];
    for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t j = 0; j < 3; ++j) {
            const auto c = compare_versions(order, v[i], v[j]);
            if (!c) RC_DISCARD("not a version");
            order_of[i][j] = *c;
        }
    for (int i = 0; i < 3; ++i) {
        RC_ASSERT(order_of[i][i] == 0);
        for (int j = 0; j < 3; ++j) RC_ASSERT(order_of[i][j] == -order_of[j][i]);
    }
    if (order_of[0][1] <= 0 && order_of[1][2] <= 0) RC_ASSERT(order_of[0][2] <= 0);
}

RC_GTEST_PROP(Versions, NumericIsATotalOrder, ()) {
    check_order(numeric, "", "012.");
}
RC_GTEST_PROP(Versions, DebianIsATotalOrder, ()) {
    check_order(debian, "", "01a~+.-:");
}
RC_GTEST_PROP(Versions, SemverIsATotalOrder, ()) {
    check_order(semver, "1.0.0-", "01a.-");
}

}  // namespace
}  // namespace fettle::family
