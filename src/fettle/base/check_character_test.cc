#include "fettle/base/check_character.h"

#include <gtest/gtest.h>

#include <string>

namespace fettle {
namespace {

TEST(CheckCharacter, ExamplesOfTheStandard) {
    EXPECT_EQ(mod11_2("0794"), '0');  // ISO/IEC 7064:2003, examples of MOD 11-2
    EXPECT_EQ(mod11_2("079"), 'X');
    EXPECT_EQ(mod11_2("0749"), 'X');  // 0794 with two neighbours exchanged
}

TEST(CheckCharacter, OnlyDigits) {
    EXPECT_EQ(mod11_2(""), std::nullopt);
    EXPECT_EQ(mod11_2("12a"), std::nullopt);
    EXPECT_EQ(mod11_2(" 12"), std::nullopt);
}

// The property that the method is chosen for, over all numbers of four digits.
TEST(CheckCharacter, EverySingleSlipAndEveryExchangeShows) {
    for (int n = 0; n < 10000; ++n) {
        std::string digits = std::to_string(10000 + n).substr(1);
        const auto right = mod11_2(digits);
        for (std::size_t i = 0; i < 4; ++i) {
            const char was = digits[i];
            for (char c = '0'; c <= '9'; ++c) {
                digits[i] = c;
                if (c == was) continue;
                ASSERT_NE(mod11_2(digits), right) << digits;
            }
            digits[i] = was;
            if (i < 3 && digits[i] != digits[i + 1]) {
                std::swap(digits[i], digits[i + 1]);
                ASSERT_NE(mod11_2(digits), right) << digits;
                std::swap(digits[i], digits[i + 1]);
            }
        }
    }
}

}  // namespace
}  // namespace fettle
