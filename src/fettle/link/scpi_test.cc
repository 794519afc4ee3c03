#include "fettle/link/scpi.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstring>

#include "fettle/base/test_csv.h"
#include "fettle/base/text.h"
#include "fettle/link/scpi_peer_test_help.h"

namespace fettle::link {
namespace {

// IEEE 488.2 NR1, NR2, NR3 (from memory), with the forms that supplies are known to send.
TEST(ScpiNumber, EveryFormOfANumber) {
    EXPECT_EQ(scpi::number("13"), 13);
    EXPECT_EQ(scpi::number("+1.350000E+01"), 13.5);
    EXPECT_EQ(scpi::number("13.5"), 13.5);
    EXPECT_EQ(scpi::number(" 13.500\r"), 13.5);
    EXPECT_EQ(scpi::number("-.002"), -0.002);
    EXPECT_EQ(scpi::number("1E1"), 10);
}
// SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5 (from memory): 9.9E37 infinity, 9.91E37 not a number; never a voltage.
TEST(ScpiNumber, NoReadingIsNoNumber) {
    for (const char* line :
         {"9.91E37", "+9.910000E+37", "9.9E37", "-9.9E37", "nan", "NAN", "inf", "",  " ",        "OK", "+-1",
          "13.5V",   "13,5",          "0x10",   "1e999",   "--3", "+",   "-",   ".", "13.5 2.3", "1e", "\xff"})
        EXPECT_FALSE(scpi::number(line)) << line;
}
TEST(ScpiAnswer, OutputState) {
    EXPECT_EQ(scpi::on_or_off("1"), true);
    EXPECT_EQ(scpi::on_or_off("on"), true);
    EXPECT_EQ(scpi::on_or_off("OFF"), false);
    EXPECT_EQ(scpi::on_or_off("0\r"), false);
    for (const char* line : {"", "2", "maybe", "ONN", "1.0"}) EXPECT_FALSE(scpi::on_or_off(line)) << line;
}
// Error numbers and texts of SCPI-99, as the table has them; the sign on 0 that some send; a supply's own numbers.
TEST(ScpiAnswer, EntriesOfTheErrorQueue) {
    const auto rows = read_csv("scpi-errors.csv");
    ASSERT_GE(rows.size(), 20u);
    for (const auto& r : rows) {
        const auto e = scpi::queued_error(r.at("code") + ",\"" + r.at("text") + "\"");
        ASSERT_TRUE(e) << r.at("code");
        EXPECT_EQ(std::to_string(e->code), r.at("code"));
        EXPECT_EQ(e->text, r.at("text"));
    }
    EXPECT_EQ(scpi::queued_error("+0,\"No error\"")->code, 0);
    EXPECT_EQ(scpi::queued_error("101,\"Fan\"")->code, 101);
    EXPECT_EQ(scpi::queued_error("-350")->code, -350);
    for (const char* line : {"", ",", "No error", "0x1,\"a\"", "--1,\"a\"", "1 2,\"a\""})
        EXPECT_FALSE(scpi::queued_error(line)) << line;
}
// The short forms that we send are those of the table, and each long form's short form follows the rule.
TEST(ScpiHeaders, OurQuestionsAreTheTablesShortForms) {
    std::vector<std::string> longs;
    for (const auto& r : read_csv("scpi-short-forms.csv")) {
        EXPECT_TRUE(testing::is_word(r.at("short_form"), r.at("long_form")));
        longs.push_back(r.at("long_form"));
    }
    ASSERT_FALSE(longs.empty());
    for (const char* question : {"MEAS:VOLT?", "MEAS:CURR?", "VOLT?", "CURR?", "OUTP?", "SYST:ERR?"}) {
        std::string q(question, std::strlen(question) - 1);
        for (const auto& word : split(q, ':'))
            EXPECT_TRUE(std::any_of(longs.begin(), longs.end(), [&](const std::string& l) {
                return testing::is_word(word, l);
            })) << word;
    }
    EXPECT_TRUE(testing::is_word("measure", "MEASure"));
    EXPECT_FALSE(testing::is_word("MEASU", "MEASure"));
}

TEST(SupplyAddress, AsPeopleTypeIt) {
    EXPECT_EQ(scpi::parse_address("scpi://192.0.2.7")->at, (Endpoint{"192.0.2.7", 5025}));
    EXPECT_EQ(scpi::parse_address("scpi://192.0.2.7:9001/")->at, (Endpoint{"192.0.2.7", 9001}));
    EXPECT_EQ(scpi::parse_address("scpi://[::1]")->at, (Endpoint{"::1", 5025}));
    EXPECT_EQ(scpi::parse_address("scpi://[::1]:77")->at, (Endpoint{"::1", 77}));
    const auto own = scpi::parse_address("words://127.0.0.1:4444/VOUT1?,IOUT1?");
    ASSERT_TRUE(own);
    EXPECT_TRUE(own->own_words);
    EXPECT_EQ(own->volts, "VOUT1?");
    EXPECT_EQ(own->amps, "IOUT1?");
}
TEST(SupplyAddress, WhatIsNoneIsRefusedWithTheForm) {
    for (const char* text : {"", "scpi://", "scpi://h/OUTP", "http://127.0.0.1", "scpi://127.0.0.1:0",
                             "scpi://127.0.0.1:70000", "words://127.0.0.1:1", "words://127.0.0.1:1/V?",
                             "words://127.0.0.1:1/V,I?", "words://127.0.0.1:1/V?,I?,P?", "words://h:1/?,I?"}) {
        const auto a = scpi::parse_address(text);
        ASSERT_FALSE(a) << text;
        EXPECT_EQ(a.error().code, "bad-supply-address");
        EXPECT_NE(a.error().next.words().find("scpi://HOST:5025"), std::string::npos);
    }
}
// A question of one's own must not carry a command: ';' joins commands on one line (IEEE 488.2), a line end ends one.
TEST(SupplyAddress, NoCommandHidesInAQuestion) {
    for (const char* text : {"words://h:1/OUTP 0;V?,I?", "words://h:1/V?,OUTP OFF\nI?", "words://h:1/V?,\tI?"})
        EXPECT_FALSE(scpi::parse_address(text)) << text;
}

}  // namespace
}  // namespace fettle::link
