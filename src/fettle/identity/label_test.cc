#include "fettle/identity/label.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/check_character.h"
#include "fettle/base/source_path.h"
#include "fettle/family/label.h"
#include "fettle/identity/lookalike.h"

namespace fettle::identity {
namespace {

const family::Family& dunnock() {
    static const family::Family f = family::load_family(source_path("families/dunnock.toml")).value();
    return f;
}

const family::LabelRule& main_plate() {
    return dunnock().box("main")->plate;
}

LabelAnswer plate(const std::string& typed, Source source = Source::typed) {
    return read_label(main_plate(), {typed, source, {}}, "plate");
}

LabelAnswer view(const std::string& typed) {
    return read_label(dunnock().view, {typed, Source::typed, {}}, "view");
}

// A serial number that allows letters and digits, without a check character.
family::LabelRule serial(const std::string& pattern = "(?P<serial>[A-Z0-9]{4})") {
    family::LabelRule r;
    r.pattern = pattern;
    return r;
}

std::vector<std::string> codes(const LabelAnswer& a) {
    std::vector<std::string> out;
    for (const Reason& r : a.judgement.reasons) out.push_back(r.code);
    return out;
}

// --- story 3 and its neighbours ---

struct Forced {
    const char *typed, *read;
    std::vector<std::size_t> positions;
};

class ForcedCorrections : public ::testing::TestWithParam<Forced> {};
TEST_P(ForcedCorrections, AreTakenAndShown) {
    const LabelAnswer a = plate(GetParam().typed);
    ASSERT_TRUE(a.taken);
    EXPECT_EQ(a.readings.front().text, GetParam().read);
    EXPECT_EQ(a.judgement.verdict(), Verdict::mind);
    EXPECT_FALSE(a.question);
    std::vector<std::size_t> positions;
    for (const Correction& c : a.readings.front().corrections) {
        positions.push_back(c.position);
        EXPECT_EQ(c.forced_by, "character class");
    }
    EXPECT_EQ(positions, GetParam().positions);
    EXPECT_EQ(a.judgement.reasons.size(), positions.size());
}

INSTANTIATE_TEST_SUITE_P(
    Story3, ForcedCorrections,
    ::testing::Values(Forced{"61O4l83C5", "6104183C5", {2, 4}}, Forced{"6104183CS", "6104183C5", {8}},
                      Forced{"G1041B3C5", "6104183C5", {0, 5}}, Forced{"6IO4I83c5", "6104183C5", {1, 2, 4, 7}},
                      Forced{"6104183c5", "6104183C5", {7}}, Forced{"61D4183C5", "6104183C5", {2}}));

TEST(ReadLabel, AsTypedIsFit) {
    const LabelAnswer a = plate("  6104183C5\n");
    EXPECT_TRUE(a.taken);
    EXPECT_EQ(a.judgement.verdict(), Verdict::fit);
    EXPECT_EQ(a.readings.front().fields.at("number"), "04183");
    EXPECT_TRUE(a.readings.front().corrections.empty());
}

// --- story 3b: the list of known values never forces a correction ---

TEST(ReadLabel, AnUnknownMarketIsAskedNeverReplaced) {
    for (const auto& [typed, read] : {std::pair{"27.3.118 M0", "MO"},
                                      {"27.3.118 MO", "MO"},
                                      {"27.3.118 N5", "NS"},
                                      {"27.3.118 NZ", "NZ"},
                                      {"27.3.118 0V", "OV"},
                                      {"27.3.118 OU", "OU"}}) {
        const LabelAnswer a = view(typed);
        ASSERT_TRUE(a.taken) << typed;
        EXPECT_EQ(a.readings.front().fields.at("market"), read) << typed;
        const bool known = dunnock().view.values.at("market").contains(read);
        EXPECT_EQ(a.judgement.verdict() == Verdict::cant_say, !known) << typed;
        EXPECT_EQ(a.question.has_value(), !known) << typed;
    }
    const LabelAnswer a = view("27.3.118 M0");
    EXPECT_EQ(codes(a), (std::vector<std::string>{"corrected-character", "value-not-known"}));
    EXPECT_EQ(a.readings.front().corrections.front().forced_by, "character class");
    EXPECT_EQ(a.question->where, "view, market");
    EXPECT_EQ(a.question->answers.front(), "MO, just so");
    EXPECT_NE(std::find(a.question->answers.begin(), a.question->answers.end(), "MD (midland)"),
              a.question->answers.end());
}

// --- story 4: more than one reading: the character that splits them best is asked ---

struct Smudged {
    const char* typed;
    std::size_t asked;  // 0-based
};
class SmudgedSerial : public ::testing::TestWithParam<Smudged> {};
TEST_P(SmudgedSerial, IsAsked) {
    const LabelAnswer a = read_label(serial(), {GetParam().typed, Source::typed, {}}, "serial number");
    EXPECT_GE(a.readings.size(), 2u);
    EXPECT_FALSE(a.taken);
    EXPECT_EQ(a.judgement.verdict(), Verdict::cant_say);
    ASSERT_TRUE(a.question);
    EXPECT_EQ(a.question->where, "serial number, character " + std::to_string(GetParam().asked + 1));
    EXPECT_GE(a.question->answers.size(), 2u);
}
INSTANTIATE_TEST_SUITE_P(Story4, SmudgedSerial,
                         ::testing::Values(Smudged{"8O1B", 1}, Smudged{"K71X", 2}, Smudged{"7SAC", 1},
                                           Smudged{"BA9C", 0}));

// The chosen position leaves the least expected entropy: computed here again from the readings, by brute force.
TEST(ReadLabel, TheQuestionIsTheBestOne) {
    const LabelAnswer a = read_label(serial(), {"8O1B", Source::typed, {}}, "s");
    double least = 1e9;
    std::size_t best = 0;
    for (std::size_t i = 0; i < 4; ++i) {
        double left = 0;
        for (const Reading& r : a.readings) {
            double same = 0;
            for (const Reading& o : a.readings)
                if (o.text[i] == r.text[i]) same += o.share;
            left -= r.share * std::log2(r.share / same);
        }
        if (left < least - 1e-9) least = left, best = i;
    }
    EXPECT_EQ(best, 1u);
    EXPECT_NEAR(a.question->bits_left, least, 1e-9);
    double sum = 0;
    for (const Reading& r : a.readings) sum += r.share;
    EXPECT_NEAR(sum, 1, 1e-9);
}

TEST(ReadLabel, AnswersNarrowTheReadingsToOne) {
    LabelText text{"8O1B", Source::typed, {}};
    for (int asked = 0; asked < 5; ++asked) {
        const LabelAnswer a = read_label(serial(), text, "s");
        if (a.taken) {
            EXPECT_EQ(a.readings.front().text, "8O1B");
            EXPECT_EQ(asked, 4);  // each of the four may be another
            return;
        }
        const std::string& where = a.question->where;
        text.sure.push_back(std::stoul(where.substr(where.rfind(' '))) - 1);
    }
    FAIL() << "still asked after every character was vouched for";
}

// With a check character over it, the same smudge can be settled where digits alone are covered.
TEST(ReadLabel, ACheckCharacterForcesACorrection) {
    family::LabelRule r;
    r.pattern = "(?P<number>[0-9]{2}[0-9OB][0-9])(?P<check>[0-9X])";
    r.check = family::CheckRule{"iso7064-mod11-2", {"number"}};
    const std::string digits = "7908";
    const std::string whole = digits + *mod11_2(digits);
    const LabelAnswer a = read_label(r, {"79O8" + whole.substr(4), Source::typed, {}}, "plate");
    ASSERT_TRUE(a.taken);
    EXPECT_EQ(a.readings.front().text, whole);
    ASSERT_EQ(a.readings.front().corrections.size(), 1u);
    EXPECT_EQ(a.readings.front().corrections[0].forced_by, "check character");
    EXPECT_EQ(a.judgement.verdict(), Verdict::mind);
}

// --- no reading ---

TEST(ReadLabel, SaysHowFarItCouldBeReadAndWhatWasExpected) {
    struct {
        const char *typed, *prefix, *next;
    } cases[] = {{"6104A83C5", "6104", "a digit"},
                 {"71", "", "6"},
                 {"6104183", "6104183", "a capital letter"},
                 {"6104183C55", "6104183C5", "the end"},
                 {"610\xC3\xBC", "610", "a digit"}};
    for (const auto& c : cases) {
        const LabelAnswer a = plate(c.typed);
        EXPECT_EQ(a.judgement.verdict(), Verdict::halt) << c.typed;
        EXPECT_TRUE(a.readings.empty());
        EXPECT_EQ(a.accepted_prefix, c.prefix) << c.typed;
        EXPECT_EQ(a.expected_next, c.next) << c.typed;
        EXPECT_EQ(codes(a), (std::vector<std::string>{"label-not-accepted"}));
    }
}

TEST(ReadLabel, AWrongCheckCharacterNamesTheRightOne) {
    const LabelAnswer a = plate("6104183C4");
    EXPECT_EQ(codes(a), (std::vector<std::string>{"check-character-wrong"}));
    EXPECT_EQ(a.expected_next, "check character 5");
    EXPECT_EQ(a.accepted_prefix, "6104183C");
}

TEST(ReadLabel, LooksAlikeIsNotAnything) {
    EXPECT_EQ(plate("6104183E5").judgement.verdict(), Verdict::fit);   // another issue letter is another box
    EXPECT_EQ(plate("61041835C").judgement.verdict(), Verdict::halt);  // exchanged places are no look-alikes
}

TEST(ReadLabel, EmptyLongAndBrokenInput) {
    EXPECT_EQ(plate(" ").judgement.verdict(), Verdict::halt);
    EXPECT_EQ(plate(std::string(100000, '6')).judgement.verdict(), Verdict::halt);
    EXPECT_EQ(plate(std::string("61\0 04", 6)).judgement.verdict(), Verdict::halt);
    EXPECT_EQ(plate("\xFF\xFE").judgement.verdict(), Verdict::halt);
    family::LabelRule bad;
    bad.pattern = "(";
    EXPECT_EQ(codes(read_label(bad, {"x", Source::typed, {}}, "x")), (std::vector<std::string>{"pattern-unusable"}));
}

TEST(ReadLabel, ManyReadingsAreBounded) {
    const LabelAnswer a = read_label(serial("[A-Z0-9]{40}"), {std::string(40, 'O'), Source::photo, {}}, "s");
    EXPECT_TRUE(a.more_readings);
    EXPECT_FALSE(a.taken);
    EXPECT_LE(a.readings.size(), 256u);
    ASSERT_TRUE(a.question);
}

TEST(ReadLabel, APhotoIsReadMoreDoubtfully) {
    EXPECT_TRUE(view("27.3.118 M0").taken);
    const LabelAnswer a = read_label(dunnock().view, {"27.3.118 M0", Source::photo, {}}, "view");
    EXPECT_FALSE(a.taken);  // off a photo D and Q come too near to O
}

TEST(LookAlikes, AreMutualButForSmallLettersAndStartWithTheCharacterItself) {
    for (const Source source : {Source::typed, Source::photo})
        for (char c = 0x20; c < 0x7F; ++c) {
            const auto mine = look_alikes(c, source);
            ASSERT_FALSE(mine.empty());
            EXPECT_EQ(mine.front().read, c);
            EXPECT_EQ(mine.front().cost, 0);
            for (const LookAlike& l : mine) {
                if (c >= 'a' && c <= 'z') continue;
                const auto back = look_alikes(l.read, source);
                EXPECT_TRUE(std::any_of(back.begin(), back.end(), [&](const LookAlike& b) { return b.read == c; }))
                    << c << l.read;
            }
        }
}

// --- properties ---

std::string some_plate() {
    std::string digits = "61";
    for (int i = 0; i < 5; ++i) digits += static_cast<char>('0' + *rc::gen::inRange(0, 10));
    return digits + static_cast<char>('A' + *rc::gen::inRange(0, 26)) + *mod11_2(digits);
}

// Replacing digits by the letters that look like them (so that the class forces them back) is always read back, and
// every replacement is shown.
RC_GTEST_PROP(ReadLabel, ForcedReplacementsAreReadBack, ()) {
    const std::string good = some_plate();
    std::string typed = good;
    std::size_t replaced = 0;
    for (std::size_t i = 0; i < typed.size(); ++i) {
        static const std::map<char, std::string> letters{{'0', "OoDQ"}, {'1', "Il"}, {'2', "Z"},
                                                         {'5', "S"},    {'6', "G"},  {'8', "B"}};
        const auto like = letters.find(typed[i]);
        if (i == 7 || like == letters.end() || *rc::gen::inRange(0, 2) == 0) continue;
        typed[i] = like->second[*rc::gen::inRange<std::size_t>(0, like->second.size())];
        ++replaced;
    }
    const LabelAnswer a = plate(typed);
    if (a.readings.empty()) RC_DISCARD("dearer than the bound");
    RC_ASSERT(a.readings.front().text == good);
    RC_ASSERT(a.readings.front().corrections.size() == replaced);
    RC_ASSERT(a.taken);
    RC_ASSERT(a.judgement.verdict() == (replaced ? Verdict::mind : Verdict::fit));
}

// Typed by hand, one wrong digit is never read as another plate at all: the typed table has no pair of digits, and
// MOD 11-2 catches every single wrong digit.
RC_GTEST_PROP(ReadLabel, OneWrongDigitIsNeverAnotherPlate, ()) {
    std::string typed = some_plate();
    const auto i = *rc::gen::element<std::size_t>(0, 1, 2, 3, 4, 5, 6, 8);
    const char wrong = static_cast<char>('0' + *rc::gen::inRange(0, 10));
    RC_PRE(wrong != typed[i]);
    typed[i] = wrong;
    RC_ASSERT(plate(typed).judgement.verdict() == Verdict::halt);
}

// Off a photo digits may be taken for each other; then a reading other than the typed text is never silent: it is at
// best "mind" with the correction shown.
RC_GTEST_PROP(ReadLabel, OffAPhotoNoChangeIsSilent, ()) {
    std::string typed = some_plate();
    typed[*rc::gen::element<std::size_t>(2, 3, 4, 5, 6)] = static_cast<char>('0' + *rc::gen::inRange(0, 10));
    const LabelAnswer a = plate(typed, Source::photo);
    if (a.judgement.verdict() == Verdict::fit) RC_ASSERT(a.readings.front().text == typed);
    if (a.taken && a.readings.front().text != typed) RC_ASSERT(!a.readings.front().corrections.empty());
}

// Every reading is one that the pattern and the check character accept, reachable by look-alikes, at the cost stated,
// in order, no text twice; and brute force over all replacements finds the same ones.
RC_GTEST_PROP(ReadLabel, ReadingsAreAllAndOnlyTheReachableOnes, ()) {
    const std::string alphabet = "0OQDI1l5S8B2Z6GUVx";
    std::string typed;
    for (int i = 0; i < 4; ++i) typed += alphabet[*rc::gen::inRange<std::size_t>(0, alphabet.size())];
    const family::LabelRule rule = serial("(?P<a>[A-Z]{1,2})(?P<b>[0-9A-F]{2,3})");
    const auto matcher = family::LabelMatcher::make(rule).value();
    std::map<std::string, double> expected;
    std::vector<std::vector<LookAlike>> choices;
    for (const char c : typed) choices.push_back(look_alikes(c, Source::typed));
    for (const auto& p : choices[0])
        for (const auto& q : choices[1])
            for (const auto& r : choices[2])
                for (const auto& s : choices[3]) {
                    const std::string text{p.read, q.read, r.read, s.read};
                    const double cost = p.cost + q.cost + r.cost + s.cost;
                    if (cost <= bound && matcher.accepts(text)) expected[text] = cost;
                }
    const LabelAnswer a = read_label(rule, {typed, Source::typed, {}}, "s");
    RC_ASSERT(a.more_readings || a.readings.size() == expected.size());
    double last = 0;
    for (const Reading& r : a.readings) {
        RC_ASSERT(expected.contains(r.text));
        RC_ASSERT(std::abs(expected[r.text] - r.cost) < 1e-9);
        RC_ASSERT(r.cost >= last - 1e-12);
        last = r.cost;
    }
}

RC_GTEST_PROP(ReadLabel, AnyTextGivesAnAnswer, (const std::string& text)) {
    const LabelAnswer a = plate(text);
    RC_ASSERT(!a.judgement.reasons.empty() || a.taken);
    RC_ASSERT(a.judgement.verdict() != Verdict::cant_say || a.question.has_value());
}

}  // namespace
}  // namespace fettle::identity
