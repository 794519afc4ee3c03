// Against the Microsoft FAT32 File System Specification 1.03 ("Long File Name Implementation", "DIR_Name").
#include "fettle/card/fat_names.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <set>

#include "fettle/card/test_cards.h"

namespace fettle::card {
namespace {

ShortName packed(const std::string& eleven) {
    ShortName out;
    std::copy_n(eleven.begin(), 11, out.begin());
    return out;
}

std::vector<std::string> shown_all(const std::vector<std::string>& names) {
    std::vector<std::string> out;
    const auto shorts = short_names(names);
    for (const auto& s : *shorts) out.push_back(shown(s));
    return out;
}

TEST(LongNameSum, IsThatOfTheReferenceTable) {
    const auto rows = test::table("lfn-checksum.csv");
    ASSERT_EQ(rows.size(), 7u);
    for (const auto& r : rows)
        EXPECT_EQ(long_name_sum(packed(r.at("short_name_11"))), std::stoul(r.at("checksum_hex"), nullptr, 16));
}

TEST(FatDate, IsThatOfTheReferenceTable) {
    const auto rows = test::table("fat-datetime.csv");
    ASSERT_EQ(rows.size(), 4u);
    for (const auto& r : rows) {
        int y, mo, d;
        ASSERT_EQ(std::sscanf(r.at("iso_time").c_str(), "%d-%d-%dT", &y, &mo, &d), 3);
        EXPECT_EQ(fat_date(y, mo, d), std::stoul(r.at("date_hex"), nullptr, 16)) << r.at("note");
    }
}

// The specification's own example: "The quick brown.fox" becomes THEQUI~1.FOX.
TEST(ShortNames, TheSpecificationsExample) {
    EXPECT_EQ(shown_all({"The quick brown.fox"}), std::vector<std::string>{"THEQUI~1.FOX"});
}

TEST(ShortNames, KeepWhatIs83AndTailTheRest) {
    EXPECT_EQ(shown_all({"README.TXT", "readme2.txt", "release.json", "release.jsox", "a.b.c", ".hidden", "noext",
                         "\xC3\xBC.bin"}),
              (std::vector<std::string>{"README.TXT", "README2.TXT", "RELEAS~1.JSO", "RELEAS~2.JSO", "AB~1.C",
                                        "HIDDEN~1", "NOEXT", "_~1.BIN"}));
}

TEST(ShortNames, ATailThatStandsThereAlreadyIsLeftAlone) {
    EXPECT_EQ(shown_all({"longfilename.bin", "LONGFI~1.BIN", "longfilename2.bin"}),
              (std::vector<std::string>{"LONGFI~2.BIN", "LONGFI~1.BIN", "LONGFI~3.BIN"}));
}

TEST(ShortNames, TailsGrowAndTheBaseGivesWay) {
    std::vector<std::string> names;
    for (int i = 0; i < 101; ++i) names.push_back("longfilename" + std::to_string(i));
    const auto shorts = shown_all(names);
    EXPECT_EQ(shorts[8], "LONGFI~9");
    EXPECT_EQ(shorts[9], "LONGF~10");
    EXPECT_EQ(shorts[99], "LONG~100");
}

RC_GTEST_PROP(ShortNames, AreDifferentAndLegal, (std::vector<std::string> raw)) {
    std::vector<std::string> names;
    std::set<std::string> keys;
    for (std::string n : raw) {
        for (char& c : n) c = "aAbB1~. _+\xC3"[static_cast<unsigned char>(c) % 10];
        if (name_fault(n).empty() && keys.insert(name_key(n)).second) names.push_back(n);
    }
    const auto shorts = short_names(names);
    RC_ASSERT(shorts.has_value());
    RC_ASSERT(std::set<ShortName>(shorts->begin(), shorts->end()).size() == names.size());
    for (std::size_t i = 0; i < names.size(); ++i) {
        RC_ASSERT((*shorts)[i][0] != ' ');
        for (const Byte b : (*shorts)[i])
            RC_ASSERT(b >= 0x20 && b < 0x7F &&
                      std::string_view("\"*+,./:;<=>?[\\]|").find(static_cast<char>(b)) == std::string_view::npos);
        // Another file's long name never is this one's short name.
        for (std::size_t k = 0; k < names.size(); ++k) RC_ASSERT(k == i || name_key(names[k]) != shown((*shorts)[i]));
    }
}

TEST(NameFault, NamesWhatFatDoesNotTake) {
    EXPECT_EQ(name_fault("good name.bin"), "");
    EXPECT_EQ(name_fault(std::string(255, 'x')), "");
    EXPECT_EQ(name_fault(std::string(256, 'x')), "has 256 characters, FAT takes 255");
    EXPECT_EQ(name_fault(".."), "means a folder, not a file");
    EXPECT_EQ(name_fault("ends."), "ends with a dot, which FAT drops");
    EXPECT_EQ(name_fault("a:b"), "holds the character ':', which FAT does not take");
    EXPECT_EQ(name_fault("a\x01"), "holds the character '\\x01', which FAT does not take");
    EXPECT_EQ(name_fault("\xFF"), "is not valid UTF-8");
    EXPECT_NE(name_fault(""), "");
    for (int c = 1; c < 0x20; ++c) EXPECT_NE(name_fault(std::string("a") + static_cast<char>(c) + "b"), "");
}

TEST(NameKey, ComparesAsFatDoes) {
    EXPECT_EQ(name_key("Index.lst"), name_key("INDEX.LST"));
    EXPECT_NE(name_key("stra\xC3\x9F"
                       "e"),
              name_key("STRASSE"));
    EXPECT_EQ(name_key("\xC3\xA9"), name_key("\xC3\x89"));   // é, É
    EXPECT_EQ(name_key("e\xCC\x81"), name_key("\xC3\xA9"));  // e + combining acute, é
    EXPECT_EQ(name_key("\xFF"), "\xFF");                     // not UTF-8: itself
}

TEST(Utf16, ThereAndBack) {
    bool damaged = false;
    const std::string text = "a\xC3\x9F\xE8\xAA\x9E\xF0\x9F\x98\x80";
    EXPECT_EQ(to_utf16(text)->size(), 5u);  // the last one takes two units
    EXPECT_EQ(to_utf8(*to_utf16(text), damaged), text);
    EXPECT_FALSE(damaged);
    to_utf8(std::u16string(1, static_cast<char16_t>(0xD800)), damaged);
    EXPECT_TRUE(damaged);
}

}  // namespace
}  // namespace fettle::card
