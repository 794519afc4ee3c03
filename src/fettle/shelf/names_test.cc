#include "fettle/shelf/names.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <fstream>
#include <sstream>

#include "fettle/base/source_path.h"
#include "fettle/base/text.h"

namespace fettle::shelf {
namespace {

std::string codes(std::string_view path) {
    std::vector<std::string> out;
    for (const Reason& r : check_path(path)) out.push_back(r.code);
    return join(out, " ");
}

TEST(Names, OrdinaryOnesPass) {
    for (const char* good : {"release.json", "main/kernel.bin", "a.b.c/…/Übersicht.txt", ".hidden", "con1/lpt",
                             "a b/c d.bin", "COM/10", "..a", "a..b"})
        EXPECT_EQ(codes(good), "") << good;
}

// Story 31 and its neighbours. The file system's part by the FAT specification, long names; device names by common
// practice on desktop systems.
TEST(Names, WhatMustNeverReachACard) {
    EXPECT_EQ(codes("../release.json"), "name-parent");
    EXPECT_EQ(codes("a/../b"), "name-parent");
    EXPECT_EQ(codes("a/./b"), "name-parent");
    EXPECT_EQ(codes("/etc/x"), "name-absolute");
    EXPECT_EQ(codes("a\\b"), "name-backslash");
    EXPECT_EQ(codes("c:x"), "name-drive name-character");
    EXPECT_EQ(codes("a//b"), "name-empty-part");
    EXPECT_EQ(codes(""), "name-empty-part");
    EXPECT_EQ(codes("a\nb"), "name-control");
    EXPECT_EQ(codes("a\x7f"), "name-control");
    EXPECT_EQ(codes("a\xc2\x85"), "name-control");  // C1
    EXPECT_EQ(codes("kernel.bin."), "name-trailing");
    EXPECT_EQ(codes("kernel /x"), "name-trailing");
    EXPECT_EQ(codes("a?b"), "name-character");
    EXPECT_EQ(codes("aux"), "name-device");
    EXPECT_EQ(codes("main/Nul.bin"), "name-device");
    EXPECT_EQ(codes("COM1.tar.gz"), "name-device");
    EXPECT_EQ(codes("a\xff"), "name-not-utf8");
    EXPECT_EQ(codes("a\xc0\xaf"), "name-not-utf8");  // an overlong slash
}

TEST(Names, TheLongestPartHas255Units) {
    EXPECT_EQ(codes(std::string(255, 'a')), "");
    EXPECT_EQ(codes(std::string(256, 'a')), "name-too-long");
    std::string pairs;  // each of two UTF-16 units
    for (int i = 0; i < 127; ++i) pairs += "\xf0\x9f\x94\xa7";
    EXPECT_EQ(codes(pairs + "a"), "");
    EXPECT_EQ(codes(pairs + "ab"), "name-too-long");
    EXPECT_EQ(codes(std::string(255, 'a') + "/" + std::string(255, 'b')), "");
}

TEST(NameKey, IsTheSameForWhatFatTakesForOne) {
    EXPECT_EQ(name_key("Index.lst"), name_key("index.LST"));
    EXPECT_EQ(name_key("\xc3\xbc"), name_key("u\xcc\x88"));  // ü composed and decomposed
    EXPECT_EQ(name_key("\xe2\x84\xaa"), name_key("k"));      // the Kelvin sign
    EXPECT_EQ(name_key("\xcf\x82"), name_key("\xcf\x83"));   // final sigma and sigma
    EXPECT_EQ(name_key("kernel"), name_key("KERNEL. ."));    // what FAT drops
    EXPECT_NE(name_key("stra\xc3\x9f"
                       "e"),
              name_key("STRASSE"));                   // no full case folding
    EXPECT_NE(name_key("a\xff"), name_key("A\xff"));  // no UTF-8: its own key
}

// The up-case table of Microsoft's exFAT specification (7.2.5.1), as it is compressed there: FFFF and a count stand for
// that many code points that map to themselves. What it takes for one name, our key must take for one.
TEST(NameKey, AgreesWithTheUpCaseTableOfExfat) {
    std::ifstream in(source_path("tests/data/reference/exfat-upcase-compressed.csv"));
    ASSERT_TRUE(in);
    std::string line;
    std::getline(in, line);
    std::vector<unsigned> words;
    while (std::getline(in, line)) {
        if (line.empty() || line[0] == '#') continue;
        auto cells = split(line, ',');
        for (std::size_t i = 1; i < cells.size(); ++i)
            if (!trim(cells[i]).empty()) words.push_back(static_cast<unsigned>(std::stoul(cells[i], nullptr, 16)));
    }
    ASSERT_EQ(words.size(), 2918u);
    const auto utf8 = [](unsigned c) {
        std::string s;
        if (c < 0x80) return std::string(1, static_cast<char>(c));
        if (c < 0x800) {
            s += static_cast<char>(0xC0 | (c >> 6));
        } else {
            s += static_cast<char>(0xE0 | (c >> 12));
            s += static_cast<char>(0x80 | ((c >> 6) & 63));
        }
        return s + static_cast<char>(0x80 | (c & 63));
    };
    unsigned at = 0;
    int mapped = 0;
    for (std::size_t i = 0; i < words.size(); ++i) {
        if (words[i] == 0xFFFF && i + 1 < words.size()) {
            at += words[++i];
            continue;
        }
        const unsigned upper = words[i];
        const unsigned lower = at++;
        if (upper == lower) continue;
        ++mapped;
        EXPECT_EQ(name_key(utf8(lower)), name_key(utf8(upper))) << std::hex << lower << " " << upper;
    }
    EXPECT_EQ(at, 0x10000u);
    EXPECT_GT(mapped, 800);
    EXPECT_EQ(name_key("\xc3\x9f"), "\xc3\x9f");  // sharp s stands for itself in that table
}

TEST(Clashes, AreNamedOverWholePathsAndFolders) {
    EXPECT_TRUE(check_clashes({"a/x", "b/x", "a/y", "a/x"}).empty());
    auto clash = check_clashes({"index.lst", "Index.lst"});
    ASSERT_EQ(clash.size(), 1u);
    EXPECT_EQ(clash[0].code, "names-clash");
    EXPECT_EQ(clash[0].where, "Index.lst");
    EXPECT_NE(clash[0].text.find("index.lst"), std::string::npos);
    EXPECT_EQ(check_clashes({"Main/a", "main/b"}).size(), 1u);    // two folders that FAT would make one
    EXPECT_EQ(check_clashes({"main/a", "main/A/b"}).size(), 1u);  // a file and a folder
}

RC_GTEST_PROP(Clashes, ChangingTheCaseOfAnyLetterClashes, ()) {
    const auto name =
        *rc::gen::nonEmpty(rc::gen::container<std::string>(rc::gen::inRange('a', static_cast<char>('z' + 1))));
    std::string other = name;
    const auto at = *rc::gen::inRange<std::size_t>(0, name.size());
    other[at] = static_cast<char>(other[at] - 'a' + 'A');
    RC_ASSERT(check_clashes({"x/" + name, "x/" + other}).size() == 1u);
}

// A path of a hundred thousand folders costs neither memory nor stack, and its finding is short.
TEST(Names, AnEndlessPathIsRefusedShortly) {
    std::string path;
    for (int i = 0; i < 100'000; ++i) path += "a/";
    path += "b";
    const auto found = check_path(path);
    ASSERT_EQ(found.size(), 1u);
    EXPECT_EQ(found[0].code, "name-too-long");
    EXPECT_LT(found[0].where.size(), 100u);
    EXPECT_TRUE(check_clashes({path, path}).empty());
    EXPECT_TRUE(check_path(std::string(200, 'a') + "/" + std::string(200, 'b')).empty());
}

}  // namespace
}  // namespace fettle::shelf
