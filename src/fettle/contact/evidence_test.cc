#include "fettle/contact/evidence.h"

#include <gtest/gtest.h>

#include "fettle/base/bytes.h"
#include "fettle/base/check_character.h"
#include "fettle/contact/draft.h"
#include "fettle/family/label.h"

namespace fettle::contact {
namespace {

// RFC 4648, section 10: "foob" is Zm9vYg==, and 4 bytes are as many as a CRC-32 has.
TEST(Evidence, Base64AsPublished) {
    for (const char* text : {"Zm9vYg==", "Zm9vYg"}) {
        const auto d = digest_text(text);
        ASSERT_TRUE(d) << text;
        EXPECT_EQ(d->encoding, "base64");
        EXPECT_EQ(as_text(d->bytes), "foob");
    }
}

// RFC 1321, A.5 and FIPS 180-4's example for "abc".
TEST(Evidence, DigestsByTheirLength) {
    EXPECT_EQ(digest_text("900150983cd24fb0d6963f7d28e17f72")->algorithm, "md5");
    EXPECT_EQ(digest_text("A9993E364706816ABA3E25717850C26C9CD0D89D")->algorithm, "sha1");
    EXPECT_EQ(digest_text("sha256=ungWv48Bz-pBQUDeXa4iI7ADYaOWF3qctBD_YfIAFa0")->algorithm, "sha256");
    EXPECT_FALSE(digest_text("recovery"));
    EXPECT_FALSE(digest_text("900150983cd24fb0d6963f7d28e17f7"));
}

TEST(Evidence, Versions) {
    for (const char* good : {"27.3.118", "1:5.10~beta3", "v2.0-rc1", "6.1.192-2"})
        EXPECT_TRUE(is_version(good)) << good;
    for (const char* bad : {"27", "a.b", "1.bin", "", "2026-01-02", "1..2"}) EXPECT_FALSE(is_version(bad)) << bad;
}

TEST(Evidence, AValueLeadsToOneFileOrToNone) {
    const std::vector<shelf::Member> members = {{"a/x.bin", shelf::MemberKind::file, 1},
                                                {"b/x.bin", shelf::MemberKind::file, 1},
                                                {"data/usr/y.bin", shelf::MemberKind::file, 1},
                                                {"data/list", shelf::MemberKind::file, 1}};
    const Names names(members);
    EXPECT_EQ(names.find("./a/x.bin", "i")->via, Via::path);
    EXPECT_EQ(names.find("usr/y.bin", "data/list")->via, Via::beside);
    EXPECT_EQ(names.find("usr/y.bin", "i")->via, Via::end);
    EXPECT_EQ(names.find("https://example.org/z/y.bin", "i")->via, Via::last_part);
    EXPECT_EQ(names.find("file:a/x.bin", "i")->via, Via::address);
    EXPECT_FALSE(names.find("file:file:a/x.bin", "i"));
    EXPECT_FALSE(names.find("x.bin", "i"));  // two files end so
    EXPECT_FALSE(names.find("https://e.org/x.bin", "i"));
    EXPECT_FALSE(names.find("nothing", "i"));
}

// A drafted pattern accepts every example, so the family's own reader does too; a check character that does not hold
// for each is not claimed. Check characters: ISO/IEC 7064 MOD 11-2, as in the example families.
TEST(Draft, Plates) {
    const auto one = draft_plates({"6104183C5"});
    ASSERT_EQ(one.size(), 1u);
    EXPECT_FALSE(one[0].check);  // 1 in 11 by chance
    const auto two = draft_plates({"6104183C5", "7301442D0"});
    ASSERT_EQ(two.size(), 1u);
    EXPECT_TRUE(two[0].check);
    EXPECT_FALSE(draft_plates({"6104183C5", "7301442D1"})[0].check);  // one contradicts
    EXPECT_EQ(draft_plates({"6104183C5", "AB-1"}).size(), 2u);
    // The same digits again bear nothing out, and neither does a stretch that is the same on each plate.
    EXPECT_FALSE(draft_plates({"6104183C5", "6104183D5", "6104183E5"})[0].check);
    std::vector<std::string> alike;
    for (const char* serial : {"417", "902", "288", "653", "571", "130", "846", "395"})
        alike.push_back(std::string(1, *mod11_2("2051")) + "-2051-" + serial);
    EXPECT_FALSE(draft_plates(alike)[0].check);
    family::LabelRule rule;
    rule.pattern = two[0].pattern;
    rule.check = family::CheckRule{"iso7064-mod11-2", two[0].over};
    const auto matcher = family::LabelMatcher::make(rule);
    ASSERT_TRUE(matcher) << matcher.error().message();
    for (const char* plate : {"6104183C5", "7301442D0", "5201176B5"}) EXPECT_TRUE(matcher->accepts(plate)) << plate;
    EXPECT_FALSE(matcher->accepts("6104183C4"));
}

TEST(Draft, ViewsOfDifferentShapesGiveNoPattern) {
    ASSERT_TRUE(draft_view({"27.1.110 NS", "26.4.102 MD"}));
    EXPECT_FALSE(draft_view({"27.1.110 NS", "27.1 NS"}));
    EXPECT_FALSE(draft_view({"no number"}));
}

TEST(Draft, AnyTextBecomesToml) {
    EXPECT_EQ(toml_text("a\"\\\n\x01"), "\"a\\\"\\\\\\u000A\\u0001\"");
    EXPECT_EQ(toml_text("\xff"), "\"\\\\xff\"");
}

// Check characters by ISO/IEC 7064 MOD 11-2 of the example world's plates; the fifth has a wrong one.
TEST(Draft, ThePlateThatContradictsTheOthersIsNamed) {
    const std::vector<std::string> plates = {"6104183C5", "6402207A4", "5201176B5", "7301442D0"};
    std::vector<std::string> five = plates;
    five.push_back("6104184C5");
    const auto drafts = draft_plates(five);
    ASSERT_EQ(drafts.size(), 1u);
    EXPECT_TRUE(drafts[0].check);
    EXPECT_EQ(drafts[0].examples, plates);
    EXPECT_EQ(drafts[0].contradicts, std::vector<std::string>{"6104184C5"});
    // Two against one prove nothing: no check, and nobody is named.
    const auto few = draft_plates({plates[0], plates[1], "6104184C5"});
    EXPECT_FALSE(few[0].check);
    EXPECT_TRUE(few[0].contradicts.empty());
    DraftInput in;
    in.plates = five;
    const Draft d = draft_family(in);
    EXPECT_NE(d.toml.find("# 6104184C5 contradicts the 4 others"), std::string::npos);
    EXPECT_TRUE(family::load_family_text(d.toml).mistakes.empty());
}

// ISO/IEC 7064: a string of MOD 11-2 is right when the sum of its values, each times 2 to the power of its place from
// the right, leaves 1 by 11 (the standard's congruence; the code goes digit by digit).
char by_congruence(std::string_view digits) {
    int sum = 0, weight = 2;
    for (std::size_t i = digits.size(); i-- > 0; weight = weight * 2 % 11) sum += (digits[i] - '0') * weight;
    for (int c = 0; c <= 10; ++c)
        if ((sum + c) % 11 == 1) return c == 10 ? 'X' : static_cast<char>('0' + c);
    return '?';
}

TEST(Draft, ACheckCharacterElsewhereOrOverAStretchIsFoundOnEnoughPlates) {
    // Published identifiers of this method, their check characters last: ORCID's own examples (from memory).
    for (const char* known : {"0000000218250097", "0000000151093700", "000000021694233X"}) {
        const std::string_view text = known;
        EXPECT_EQ(by_congruence(text.substr(0, text.size() - 1)), text.back());
    }
    const std::vector<std::string> serials = {"10418", "22073", "90176", "31442", "77315",
                                              "60902", "41836", "58120", "10007"};
    // 10007 has an X.
    std::vector<std::string> first, stretch;
    for (std::size_t i = 0; i < serials.size(); ++i) {
        first.push_back(std::string(1, by_congruence(serials[i])) + "-" + serials[i] + "B");
        // Role 58 is not covered.
        stretch.push_back("58" + serials[i] + "A" + by_congruence(serials[i]));
    }
    for (const auto* plates : {&first, &stretch}) {
        const auto drafts = draft_plates(*plates);
        ASSERT_EQ(drafts.size(), 1u);
        ASSERT_TRUE(drafts[0].check) << drafts[0].pattern;
        EXPECT_EQ(drafts[0].examples.size(), plates->size());
        family::LabelRule rule;
        rule.pattern = drafts[0].pattern;
        rule.check = family::CheckRule{"iso7064-mod11-2", drafts[0].over};
        const auto matcher = family::LabelMatcher::make(rule);
        ASSERT_TRUE(matcher) << matcher.error().message();
        for (const std::string& p : *plates) EXPECT_TRUE(matcher->accepts(p)) << p << " by " << drafts[0].pattern;
        DraftInput in;
        in.plates = *plates;
        EXPECT_TRUE(family::load_family_text(draft_family(in).toml).mistakes.empty());
        // Two of them bear nothing out; one that is wrong leaves no rule.
        EXPECT_FALSE(draft_plates({plates->at(0), plates->at(1)})[0].check);
        auto wrong = *plates;
        wrong[0][wrong[0].size() - 3] = wrong[0][wrong[0].size() - 3] == '1' ? '2' : '1';
        EXPECT_FALSE(draft_plates(wrong)[0].check);
    }
    EXPECT_EQ(draft_plates(first)[0].pattern, "(?P<check>[0-9X])-(?P<part1>\\d{5})(?P<part2>[A-Z])");
    EXPECT_EQ(draft_plates(stretch)[0].pattern, "(?P<part1>\\d{2})(?P<part2>\\d{5})(?P<part3>[A-Z])(?P<check>[0-9X])");
}

TEST(Draft, MeaningsAreAskedOnceAndDontKnowIsAnAnswer) {
    DraftInput in;
    in.plates = {"6104183C5"};
    in.views = {"27.1.110 NS"};
    const Draft first = draft_family(in);
    std::vector<std::string> asked;
    for (const auto& a : first.asked) asked.push_back(a.part);
    EXPECT_EQ(asked,
              (std::vector<std::string>{"main.part1", "main.part2", "main.part3", "view.part1", "view.release"}));
    in.means = {{"main.part1", "number"},
                {"main.part2", "issue"},
                {"main.part3", "don't know"},
                {"view.part1", "market"},
                {"view.release", "release"}};
    const Draft second = draft_family(in);
    EXPECT_TRUE(second.asked.empty());
    EXPECT_TRUE(second.strange_means.empty());
    const auto f = family::load_family_text(second.toml);
    ASSERT_TRUE(f.mistakes.empty()) << f.mistakes[0].problem;
    EXPECT_EQ(f.family.boxes[0].plate.pattern, "(?P<number>\\d{7})(?P<issue>[A-Z])(?P<part3>\\d)");
    EXPECT_EQ(f.family.view.pattern, "(?P<release>\\d+\\.\\d+\\.\\d+) (?P<market>[A-Z]{2})");
    EXPECT_EQ(first.toml.find("likely = [\"release\"]") == std::string::npos, false);
    EXPECT_TRUE(f.family.view.likely.empty());
    EXPECT_NE(second.toml.find("part3: asked; the answer was: don't know"), std::string::npos);
    in.means = {{"main.part9", "x"}, {"main.part1", "issue"}, {"main.part2", "issue"}, {"view.part1", "release"}};
    const Draft third = draft_family(in);
    EXPECT_EQ(third.strange_means, std::vector<std::string>{"main.part9"});
    EXPECT_TRUE(family::load_family_text(third.toml).mistakes.empty());  // a name that is taken is not taken twice
}

}  // namespace
}  // namespace fettle::contact
