#include "fettle/base/check_character.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace fettle {
namespace {

// ISO/IEC 7064 prints 0794 → 0 and 079 → X for MOD 11-2 (from memory, widely reprinted); 0749 → X follows from the
// rule.
TEST(Mod11_2, AgreesWithTheStandardsExamples) {
    EXPECT_EQ(mod11_2("0794"), '0');
    EXPECT_EQ(mod11_2("079"), 'X');
    EXPECT_EQ(mod11_2("0749"), 'X');
}

// ISNI and ORCID use the same check over 15 digits; 0000-0002-1825-0097 is ORCID's own documentation example.
TEST(Mod11_2, AgreesWithThePublishedOrcidExample) {
    EXPECT_EQ(mod11_2("000000021825009"), '7');
}

TEST(Mod11_2, RefusesWhatIsNoDigit) {
    for (const char* s : {"", "12A", " 1", "1-2", "X"}) EXPECT_EQ(mod11_2(s), std::nullopt) << s;
}

// The rule by its definition: the whole string, check character included, is 1 modulo 11 with weights 2^(n-i).
int weighted(const std::string& digits, char check) {
    int sum = check == 'X' ? 10 : check - '0';
    int weight = 2;
    for (std::size_t i = digits.size(); i-- > 0; weight = weight * 2 % 11) sum += weight * (digits[i] - '0');
    return sum % 11;
}

std::string digits_of(const std::vector<int>& v) {
    std::string s;
    for (const int d : v) s += static_cast<char>('0' + d);
    return s;
}

const auto some_digits = rc::gen::nonEmpty(rc::gen::container<std::vector<int>>(rc::gen::inRange(0, 10)));

RC_GTEST_PROP(Mod11_2, IsOneModulo11ByDefinition, ()) {
    const std::string s = digits_of(*some_digits);
    RC_ASSERT(weighted(s, *mod11_2(s)) == 1);
}

RC_GTEST_PROP(Mod11_2, CatchesEverySingleWrongDigit, ()) {
    const std::string s = digits_of(*some_digits);
    for (std::size_t i = 0; i < s.size(); ++i)
        for (char c = '0'; c <= '9'; ++c) {
            std::string wrong = s;
            wrong[i] = c;
            if (c != s[i]) RC_ASSERT(mod11_2(wrong) != mod11_2(s));
        }
}

RC_GTEST_PROP(Mod11_2, CatchesEveryExchangeOfNeighbours, ()) {
    const std::string s = digits_of(*some_digits);
    for (std::size_t i = 0; i + 1 < s.size(); ++i) {
        std::string wrong = s;
        std::swap(wrong[i], wrong[i + 1]);
        if (wrong != s) RC_ASSERT(mod11_2(wrong) != mod11_2(s));
    }
}

}  // namespace
}  // namespace fettle
