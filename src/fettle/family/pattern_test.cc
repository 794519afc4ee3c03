#include "fettle/family/pattern.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <re2/re2.h>

#include "fettle/family/label.h"

namespace fettle::family {
namespace {

TEST(Pattern, SaysWhatMayStandNext) {
    const auto p = Pattern::compile(R"((?P<role>61)(?P<number>\d{2})(?P<issue>[A-Z])(?P<check>[0-9X]))");
    ASSERT_TRUE(p) << p.error().message();
    Pattern::States at = p->start();
    std::vector<std::string> said{words(p->next(at))};
    for (const char c : std::string_view("6104C5")) {
        at = p->step(at, c);
        said.push_back(words(p->next(at)));
    }
    EXPECT_EQ(said, (std::vector<std::string>{"6", "1", "a digit", "a digit", "a capital letter", "a digit or X",
                                              "nothing"}));
    EXPECT_TRUE(p->accepts(at));
    EXPECT_EQ(p->fields(), (std::vector<std::string>{"role", "number", "issue", "check"}));
    EXPECT_EQ(*p->field_pattern("check"), "[0-9X]");
    EXPECT_EQ(p->field_pattern("market"), nullptr);
}

TEST(Pattern, WordsForSetsOfCharacters) {
    const auto next = [](const char* pattern) { return words(Pattern::compile(pattern)->next({0})); };
    EXPECT_EQ(next("[ABC]"), "one of A B C");
    EXPECT_EQ(next("[a-z0-9]"), "a digit or a small letter");
    EXPECT_EQ(next("[0-9A-Z-]"), "a digit, a capital letter or -");
    EXPECT_EQ(next(" "), "(blank)");
}

struct Refusal {
    const char* pattern;
    const char* place;
    const char* problem;
};

class RefusedPattern : public ::testing::TestWithParam<Refusal> {};

TEST_P(RefusedPattern, NamesTheCharacter) {
    const auto p = Pattern::compile(GetParam().pattern);
    ASSERT_FALSE(p);
    EXPECT_EQ(p.error().code, "pattern-unusable");
    EXPECT_EQ(p.error().place, GetParam().place);
    EXPECT_NE(p.error().problem.find(GetParam().problem), std::string::npos) << p.error().problem;
    EXPECT_FALSE(p.error().next.empty());
}

INSTANTIATE_TEST_SUITE_P(
    Each, RefusedPattern,
    ::testing::Values(Refusal{"", "character 1", "is empty"}, Refusal{"a.c", "character 2", "any character"},
                      Refusal{"^a", "character 1", "^ or $"}, Refusal{"a$", "character 2", "^ or $"},
                      Refusal{"[^a]", "character 2", "may not stand"}, Refusal{"a(b", "character 2", "never closed"},
                      Refusal{"a)b", "character 2", "never opened"}, Refusal{"[ab", "character 1", "never closed"},
                      Refusal{"a**", "character 3", "two repeats"}, Refusal{"a+?", "character 3", "two repeats"},
                      Refusal{"*a", "character 1", "repeats nothing"}, Refusal{"a{3", "character 4", "not of the form"},
                      Refusal{"a{2,1}", "character 6", "not of the form"},
                      Refusal{"a{101}", "character 6", "more than 100"}, Refusal{"\\b", "character 2", "escape"},
                      Refusal{"\\", "character 2", "ends with"}, Refusal{"(?i)a", "character 2", "neither"},
                      Refusal{"[z-a]", "character 5", "does not rise"},
                      Refusal{"[[:alpha:]]", "character 2", "named class"}, Refusal{"\xC3\xBC", "character 1", "ASCII"},
                      Refusal{"(?P<a>x)(?P<a>y)", "character 13", "twice"},
                      Refusal{"(?P<>x)", "character 5", "names a field"},
                      Refusal{"a{100}b{100}c{100}d{100}e{100}f{100}", "character 37", "more than 512 places"}));

// Empty parts inside repeats make no places, yet must not cost time without bound.
TEST(Pattern, HostileRepeatsEndQuickly) {
    std::string p = "()";
    for (int i = 0; i < 14; ++i) p = "(" + p + "{100})";
    EXPECT_FALSE(Pattern::compile(p));
    EXPECT_FALSE(Pattern::compile(std::string(1000, '(') + std::string(24, ')')));
}

// --- RE2 as the second opinion: what both accept must be the same ---

std::string random_pattern(int depth) {
    const auto leaf = [] {
        return *rc::gen::element<std::string>("a", "b", "1", "[ab]", "[a-c1]", "\\d", "\\.", "[0-9X]", "-");
    };
    if (depth == 0) return leaf();
    switch (*rc::gen::inRange(0, 6)) {
        case 0: return leaf();
        case 1: return random_pattern(depth - 1) + random_pattern(depth - 1);
        case 2: return "(" + random_pattern(depth - 1) + "|" + random_pattern(depth - 1) + ")";
        case 3: return "(?:" + random_pattern(depth - 1) + ")" + *rc::gen::element<std::string>("?", "*", "+");
        case 4:
            return "(?:" + random_pattern(depth - 1) + ")" +
                   *rc::gen::element<std::string>("{2}", "{1,3}", "{0,2}", "{2,}", "{0}", "{0,}");
        default: return random_pattern(depth - 1) + "|" + random_pattern(depth - 1);
    }
}

RC_GTEST_PROP(Pattern, AcceptsWhatRe2Accepts, ()) {
    const std::string text = random_pattern(4);
    const auto p = Pattern::compile(text);
    if (!p) RC_DISCARD("too large");
    const RE2 re(text);
    RC_ASSERT(re.ok());
    for (int i = 0; i < 20; ++i) {
        // A walk through the automaton, sometimes off the way, so that both answers come up.
        std::string s;
        Pattern::States at = p->start();
        while (s.size() < 12) {
            std::string could;
            const CharSet next = p->next(at);
            for (int c = 0; c < 128; ++c)
                if (next.test(static_cast<std::size_t>(c))) could += static_cast<char>(c);
            if (could.empty() || *rc::gen::inRange(0, 5) == 0) could += "ab1X.-z";
            const char c = could[*rc::gen::inRange<std::size_t>(0, could.size())];
            at = p->step(at, c);
            s += c;
            RC_ASSERT(p->accepts(at) == RE2::FullMatch(s, re));
        }
    }
}

TEST(LabelMatcher, FindsFieldsAndChecksTheCharacter) {
    LabelRule rule;
    rule.pattern = R"((?P<role>61)(?P<number>\d{5})(?P<issue>[A-Z])(?P<check>[0-9X]))";
    rule.check = CheckRule{"iso7064-mod11-2", {"role", "number"}};
    const auto m = LabelMatcher::make(rule);
    ASSERT_TRUE(m) << m.error().message();
    const auto fields = m->fields("6104183C5");
    ASSERT_TRUE(fields);
    EXPECT_EQ(field_text(*fields, "number"), "04183");
    EXPECT_EQ(m->expected_check(*fields), '5');
    EXPECT_TRUE(m->accepts("6104183C5"));
    EXPECT_FALSE(m->accepts("6104183C4"));
    EXPECT_TRUE(m->fields("6104183C4"));
    EXPECT_FALSE(m->fields("6104183C"));
    EXPECT_FALSE(m->fields("6104183\xC3"));
}

TEST(LabelMatcher, CheckRuleNeedsItsFields) {
    LabelRule rule;
    rule.pattern = R"((?P<number>\d{5})(?P<check>[0-9X]))";
    rule.check = CheckRule{"iso7064-mod11-2", {"role", "number"}};
    const auto m = LabelMatcher::make(rule);
    ASSERT_FALSE(m);
    EXPECT_NE(m.error().problem.find("\"role\""), std::string::npos);
}

}  // namespace
}  // namespace fettle::family
