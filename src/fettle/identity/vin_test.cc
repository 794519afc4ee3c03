#include "fettle/identity/vin.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <map>

#include "fettle/base/test_csv.h"

namespace fettle::identity {
namespace {

// Values and weights of 49 CFR 565.15(c) (published), read from the tables and not from the code.
int sum_by_the_tables(const std::string& vin) {
    static const auto values = [] {
        std::map<char, int> out;
        for (const CsvRow& r : read_csv("vin-transliteration.csv"))
            out[r.at("character")[0]] = std::stoi(r.at("value"));
        return out;
    }();
    static const auto weights = read_csv("vin-weights.csv");
    int sum = 0;
    for (std::size_t i = 0; i < 17; ++i) sum += std::stoi(weights.at(i).at("weight")) * values.at(vin[i]);
    return sum;
}

// 49 CFR 565 sample, NHTSA outline (published); widely printed samples (from memory); negatives derived.
TEST(Vin, AgreesWithTheExamples) {
    for (const CsvRow& row : read_csv("vin-examples.csv")) {
        const std::string& vin = row.at("vin");
        const VinAnswer a = check_vin(vin);
        if (row.at("check_matches") == "malformed") {
            EXPECT_FALSE(a.well_formed) << vin;
            EXPECT_NE(a.judgement.verdict(), Verdict::fit) << vin;
            continue;
        }
        EXPECT_TRUE(a.well_formed) << vin;
        if (row.at("check_matches") == "normalise") {
            EXPECT_EQ(a.vin, "1M8GDM9AXKP042788");
            EXPECT_TRUE(a.check_matches);
            continue;
        }
        EXPECT_EQ(a.weighted_sum, std::stoi(row.at("weighted_sum"))) << vin;
        EXPECT_EQ(a.remainder, std::stoi(row.at("remainder"))) << vin;
        EXPECT_EQ(std::string(1, a.expected), row.at("computed_check")) << vin;
        EXPECT_EQ(std::string(1, a.position9), row.at("position9")) << vin;
        EXPECT_EQ(a.check_matches, row.at("check_matches") == "yes") << vin;
        EXPECT_EQ(a.judgement.verdict(), a.check_matches ? Verdict::fit : Verdict::mind) << vin;
    }
}

TEST(Vin, ValuesAreThoseOfTheTable) {
    for (const CsvRow& r : read_csv("vin-transliteration.csv")) {
        const std::string vin(17, r.at("character")[0]);
        EXPECT_EQ(check_vin(vin).weighted_sum, sum_by_the_tables(vin)) << vin;
    }
}

// Story 6: O is read as 0 (ISO 3779 keeps I, O and Q out), and the suggestion is computed.
TEST(Vin, SuggestsForTheThreeLettersThatDoNotExist) {
    for (const auto& [typed, suggestion] : {std::pair{"1M8GDM9AXKPO42788", "1M8GDM9AXKP042788"},
                                            {"IM8GDM9AXKP042788", "1M8GDM9AXKP042788"},
                                            {"1m8gdm9axkpq42788", "1M8GDM9AXKP042788"}}) {
        const VinAnswer a = check_vin(typed);
        EXPECT_FALSE(a.well_formed);
        EXPECT_EQ(a.suggestion, suggestion);
        EXPECT_TRUE(a.check_matches);
        EXPECT_EQ(a.judgement.verdict(), Verdict::mind);
        EXPECT_EQ(a.judgement.reasons.front().code, "corrected-character");
    }
}

TEST(Vin, SeventeenOnes) {
    const VinAnswer a = check_vin("11111111111111111");
    EXPECT_EQ(a.weighted_sum, 89);
    EXPECT_EQ(a.remainder, 1);
    EXPECT_TRUE(a.check_matches);
}

TEST(Vin, AFailedDigitCountsOnlyWhereTheRuleApplies) {
    EXPECT_EQ(check_vin("1M8GDM9AXKP042789").judgement.verdict(), Verdict::mind);
    EXPECT_EQ(check_vin("1M8GDM9AXKP042789", false).judgement.verdict(), Verdict::mind);
    EXPECT_EQ(check_vin("1M8GDM9AXKP042789", true).judgement.verdict(), Verdict::cant_say);
}

TEST(Vin, WhatCannotBeAVinHalts) {
    for (const char* s : {"", "1M8GDM9AXKP04278", "1M8GDM9AXKP0427888", "1M8GDM9AXKP04278-", "1M8GDM9AXKP04278\xFF"})
        EXPECT_EQ(check_vin(s).judgement.verdict(), Verdict::halt) << s;
}

const std::string allowed = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ";

std::string some_vin() {
    std::string vin;
    for (int i = 0; i < 17; ++i) vin += allowed[*rc::gen::inRange<std::size_t>(0, allowed.size())];
    const int r = sum_by_the_tables(vin) % 11;
    vin[8] = r == 10 ? 'X' : static_cast<char>('0' + r);
    return vin;
}

// What the digit is worth, as the answer states it: any single wrong character of another value is caught, one of the
// same value never.
RC_GTEST_PROP(Vin, TheDigitIsWorthWhatIsSaid, ()) {
    const std::string good = some_vin();
    RC_ASSERT(check_vin(good).check_matches);
    std::string wrong = good;
    const auto i = *rc::gen::inRange<std::size_t>(0, 17);
    RC_PRE(i != 8);
    wrong[i] = allowed[*rc::gen::inRange<std::size_t>(0, allowed.size())];
    const bool same_value = (sum_by_the_tables(wrong) - sum_by_the_tables(good)) == 0;
    RC_ASSERT(check_vin(wrong).check_matches == same_value);
}

}  // namespace
}  // namespace fettle::identity
