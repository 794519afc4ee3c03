#include "fettle/identity/identity.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>

#include "fettle/base/source_path.h"

namespace fettle::identity {
namespace {

// Dunnock from its file; brill and pelm as plates only, as job notes would have them.
const std::vector<family::Family>& families() {
    static const std::vector<family::Family> all = [] {
        std::vector<family::Family> out{family::load_family(source_path("families/dunnock.toml")).value()};
        for (const auto& [id, role] : {std::pair{"brill", "52"}, {"pelm", "73"}}) {
            family::Family f;
            f.id = id;
            f.words = id;
            f.boxes.resize(1);
            f.boxes[0].role = "main";
            f.boxes[0].words = std::string(id) + " box";
            f.boxes[0].plate.pattern =
                "(?P<role>" + std::string(role) + R"()(?P<number>\d{5})(?P<issue>[A-Z])(?P<check>[0-9X]))";
            f.boxes[0].plate.check = family::CheckRule{"iso7064-mod11-2", {"role", "number"}};
            out.push_back(std::move(f));
        }
        return out;
    }();
    return all;
}

Identity ask(const std::vector<std::string>& plates, const std::vector<std::string>& views = {},
             std::optional<int> housings = std::nullopt) {
    Given g;
    for (const auto& p : plates) g.plates.push_back({p, Source::typed, {}});
    for (const auto& v : views) g.views.push_back({v, Source::typed, {}});
    g.intake.housings = housings;
    return identify(families(), g);
}

bool has(const Identity& id, const std::string& code) {
    return std::any_of(id.judgement.reasons.begin(), id.judgement.reasons.end(),
                       [&](const Reason& r) { return r.code == code; });
}

TEST(Identify, AWholeSetWithItsView) {
    const Identity id = ask({"6104183C5", "6402207A4"}, {"27.1.110 NS"}, 2);
    EXPECT_EQ(id.judgement.verdict(), Verdict::fit);
    EXPECT_TRUE(id.judgement.reasons.empty());
    EXPECT_EQ(id.family, "dunnock");
    EXPECT_TRUE(id.set);
    EXPECT_TRUE(id.missing.empty());
    EXPECT_EQ(id.box("main")->plate, "6104183C5");
    EXPECT_EQ(id.box("display")->fields.at("issue"), "A");
    EXPECT_EQ(id.box("display")->words.at("role"), "display box");
    EXPECT_EQ(id.release, "27.1.110");
    EXPECT_EQ(id.market, "NS");
    EXPECT_TRUE(id.market_known);
    EXPECT_FALSE(id.question);
}

TEST(Identify, TheOrderOfPlatesDoesNotMatter) {
    const Identity a = ask({"6402207A4", "6104183C5"});
    EXPECT_EQ(a.judgement.verdict(), Verdict::fit);
    EXPECT_EQ(a.boxes.at(0).role, "main");
}

TEST(Identify, BoxesOfOneHousing) {
    EXPECT_EQ(ask({"5201176B5"}).family, "brill");
    EXPECT_EQ(ask({"7301442D0"}).family, "pelm");
    EXPECT_FALSE(ask({"7301442D0"}).set);
}

// Story 3.
TEST(Identify, CorrectionsAreShown) {
    const Identity id = ask({"61O4l83C5"});
    EXPECT_EQ(id.judgement.verdict(), Verdict::mind);
    EXPECT_EQ(id.box("main")->plate, "6104183C5");
    EXPECT_EQ(id.box("main")->typed, "61O4l83C5");
    EXPECT_EQ(id.box("main")->corrections.size(), 2u);
    EXPECT_EQ(id.missing, (std::vector<std::string>{"display"}));
    EXPECT_TRUE(has(id, "plate-of-set-missing"));
}

// Story 3b.
TEST(Identify, AnUnknownMarketIsKeptAsReadAndAsked) {
    const Identity id = ask({"6104183C5", "6402207A4"}, {"27.3.118 MO"});
    EXPECT_EQ(id.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(id.market, "MO");
    EXPECT_FALSE(id.market_known);
    EXPECT_EQ(id.release, "27.3.118");
    EXPECT_EQ(id.question->where, "view, market");
}

// Story 7, with its variations.
TEST(Identify, ASetThatContradictsTheIntakeHalts) {
    for (const auto& plates :
         {std::vector<std::string>{"6104183C5", "6402207A4"}, {"6402207A4", "6104183C5"}, {"61O4183C5", "6402207A4"}}) {
        const Identity id = ask(plates, {"27.1.110 NS"}, 1);
        EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
        EXPECT_TRUE(has(id, "set-contradicts-intake"));
        ASSERT_TRUE(id.question);
        EXPECT_NE(id.question->text.find("which box did each plate come from"), std::string::npos);
        EXPECT_EQ(id.question->answers.size(), 3u);
    }
    EXPECT_EQ(ask({"6104183C5", "6402207A4"}, {}, 2).judgement.verdict(), Verdict::fit);
    EXPECT_TRUE(has(ask({"6104183C5"}, {}, 2), "housing-without-plate"));
    EXPECT_EQ(ask({"5201176B5"}, {}, 1).judgement.verdict(), Verdict::fit);
}

TEST(Identify, TwoMainBoxesHalt) {
    const Identity id = ask({"6104183C5", "6100001A" + std::string(1, '9')});
    EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
    EXPECT_TRUE(has(id, "two-of-one-role") || has(id, "plate-not-known"));
    const Identity twice = ask({"6104183C5", "6104183C5"});
    EXPECT_TRUE(has(twice, "plate-given-twice"));
    EXPECT_EQ(twice.judgement.verdict(), Verdict::mind);
}

TEST(Identify, TwoMainBoxesWithTheirOwnPlates) {
    const Identity id = ask({"6104183C5", "6104183D5"});
    EXPECT_TRUE(has(id, "two-of-one-role"));
    EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
    ASSERT_TRUE(id.question);
    EXPECT_EQ(id.question->answers, (std::vector<std::string>{"6104183C5", "6104183D5"}));
}

TEST(Identify, PlatesOfDifferentFamiliesHalt) {
    const Identity id = ask({"6104183C5", "5201176B5"}, {"27.1.110 NS"});
    EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
    EXPECT_TRUE(has(id, "plates-of-different-families"));
    EXPECT_TRUE(id.family.empty());
    EXPECT_TRUE(has(id, "view-not-read"));
    EXPECT_EQ(id.labels.size(), 2u);
}

TEST(Identify, AnUnknownPlateTellsWhatWasTried) {
    const Identity id = ask({"9904183C5"});
    EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
    ASSERT_TRUE(has(id, "plate-not-known"));
    const std::string& text = id.judgement.reasons.back().text;
    for (const char* family : {"dunnock", "brill", "pelm"}) EXPECT_NE(text.find(family), std::string::npos) << text;
    EXPECT_NE(text.find("starts like no"), std::string::npos) << text;
    EXPECT_TRUE(id.boxes.empty());
}

TEST(Identify, APartlyReadablePlateTellsHowFar) {
    const std::string text = ask({"6104X83C5"}).judgement.reasons.back().text;
    EXPECT_NE(text.find("as far as \"6104\", then a digit was expected"), std::string::npos) << text;
}

TEST(Identify, AWrongCheckCharacterIsNamed) {
    const Identity id = ask({"6104183C4"});
    EXPECT_TRUE(has(id, "check-character-wrong"));
    EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
}

TEST(Identify, ViewsMustAgree) {
    EXPECT_EQ(ask({"6104183C5", "6402207A4"}, {"27.1.110 NS", "27.1.110 NS"}).judgement.verdict(), Verdict::fit);
    const Identity id = ask({"6104183C5", "6402207A4"}, {"27.1.110 NS", "26.4.102 NS"});
    EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
    EXPECT_TRUE(has(id, "views-differ"));
    EXPECT_TRUE(id.release.empty());
}

// What nobody can read is filled in by the form of the label and its check character, as far as they go, and stays not
// known: a check character that fills in a place tells no slip any more.
TEST(Identify, ACharacterThatNobodyCanReadIsNeverFit) {
    for (const char* plate : {"6104?83C5", "6?04183C5", "6104183C?", "?104183C5"}) {
        const Identity id = ask({plate, "6402207A4"}, {"27.1.110 NS"});
        EXPECT_EQ(id.judgement.verdict(), Verdict::cant_say) << plate;
        EXPECT_TRUE(has(id, "character-filled-in")) << plate;
        EXPECT_EQ(id.box("main")->plate, "6104183C5") << plate;
    }
    // A letter that the check character does not go over: which it is decides which pieces apply.
    const Identity letter = ask({"6104183?5", "6402207A4"}, {"27.1.110 NS"});
    EXPECT_TRUE(has(letter, "character-not-read"));
    EXPECT_TRUE(letter.box("main")->plate.empty());
    EXPECT_FALSE(letter.box("main")->fields.contains("issue"));
    EXPECT_EQ(letter.box("main")->fields.at("number"), "04183");
    // So many that not every reading was looked for: nothing is known of it but its box.
    EXPECT_TRUE(ask({"61?????C5"}).box("main")->fields.empty());
    // A slip beside it is no better for it.
    EXPECT_GE(ask({"6104193C?", "6402207A4"}).judgement.verdict(), Verdict::cant_say);
}

TEST(Identify, AViewThatNamesItsBoxIsOfThatBox) {
    const Identity id = ask({"6104183C5", "6402207A4"}, {"main=27.1.110 NS", "display = 26.4.102 NS"});
    EXPECT_EQ(id.judgement.verdict(), Verdict::mind);
    EXPECT_TRUE(has(id, "boxes-differ"));
    EXPECT_TRUE(id.release.empty());
    EXPECT_EQ(id.releases.at("main"), "27.1.110");
    EXPECT_EQ(id.releases.at("display"), "26.4.102");
    EXPECT_EQ(id.market, "NS");
    // One view of the set, and the other box's own.
    EXPECT_EQ(ask({"6104183C5"}, {"27.1.110 NS", "display=26.4.102 NS"}).releases, id.releases);
    // Of one release after all; a box that was not looked at is not known.
    EXPECT_EQ(ask({"6104183C5"}, {"main=27.1.110 NS", "display=27.1.110 NS"}).release, "27.1.110");
    EXPECT_EQ(ask({"6104183C5"}, {"display=27.1.110 NS"}).releases.at("main"), "");
    EXPECT_EQ(ask({"6104183C5"}, {"display=27.1.110 NS"}).judgement.verdict(), Verdict::cant_say);
    // The market is one of the whole set, and one box shows one thing.
    EXPECT_TRUE(has(ask({"6104183C5"}, {"main=27.1.110 NS", "display=26.4.102 OV"}), "views-differ"));
    EXPECT_TRUE(has(ask({"6104183C5"}, {"main=27.1.110 NS", "main=26.4.102 NS"}), "views-differ"));
}

TEST(Identify, AViewThatCannotBeReadHalts) {
    const Identity id = ask({"6104183C5", "6402207A4"}, {"27.1 NS"});
    EXPECT_EQ(id.judgement.verdict(), Verdict::halt);
    EXPECT_TRUE(id.release.empty());
    EXPECT_EQ(ask({"5201176B5"}, {"27.1.110 NS"}).judgement.verdict(), Verdict::cant_say);  // no rule for its view
}

// A serial in the plate that reads two ways: the plate is not settled, and what all readings share is known.
TEST(Identify, AnUnsettledPlateIsNoFact) {
    std::vector<family::Family> f(1);
    f[0].id = f[0].words = "wren";
    f[0].boxes.resize(1);
    f[0].boxes[0].role = "main";
    f[0].boxes[0].plate.pattern = "(?P<kind>W[0-9])(?P<serial>[A-Z0-9]{4})";
    const Identity id = identify(f, {{{"W78O1B", Source::typed, {}}}, {}, {}});
    EXPECT_EQ(id.judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(id.family, "wren");
    EXPECT_EQ(id.box("main")->plate, "");
    EXPECT_EQ(id.box("main")->fields.count("serial"), 0u);
    EXPECT_EQ(id.box("main")->fields.at("kind"), "W7");
    EXPECT_EQ(id.question->where, "plate, character 4");
}

// Two families whose plates the same text can be: asked, not guessed.
TEST(Identify, TwoFamiliesThatFitAreAsked) {
    std::vector<family::Family> f(2);
    for (std::size_t i = 0; i < 2; ++i) {
        f[i].id = f[i].words = i ? "wren" : "rook";
        f[i].boxes.resize(1);
        f[i].boxes[0].role = "main";
        f[i].boxes[0].plate.pattern = i ? "[A-Z][0-9]{3}" : "[A-Z0-9]{4}";
    }
    const Identity id = identify(f, {{{"A234", Source::typed, {}}}, {}, {}});
    EXPECT_EQ(id.judgement.verdict(), Verdict::cant_say);
    EXPECT_TRUE(id.family.empty());
    EXPECT_EQ(id.question->answers.size(), 2u);
}

TEST(Identify, NothingGivenOrNothingKnown) {
    EXPECT_EQ(ask({}).judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(identify({}, {{{"6104183C5", Source::typed, {}}}, {}, {}}).judgement.verdict(), Verdict::halt);
}

// Whatever is typed: a verdict that is not fit has a reason, can't say has a question, and a fit one no correction.
RC_GTEST_PROP(Identify, EveryAnswerIsWhole, ()) {
    const std::string alphabet = "6145203OIlSBXACNS .7-";
    const auto some = [&](int most) {
        std::string s;
        for (int n = *rc::gen::inRange(0, most); n > 0; --n)
            s += alphabet[*rc::gen::inRange<std::size_t>(0, alphabet.size())];
        return s;
    };
    std::string plate = *rc::gen::element<std::string>("6104183C5", "6402207A4", "5201176B5");
    plate[*rc::gen::inRange<std::size_t>(0, 9)] = alphabet[*rc::gen::inRange<std::size_t>(0, alphabet.size())];
    const Identity id = ask({plate, some(10)}, {some(12)}, *rc::gen::inRange(0, 4));
    if (id.judgement.verdict() == Verdict::cant_say) RC_ASSERT(id.question.has_value());
    for (const IdentifiedBox& b : id.boxes)
        if (id.judgement.verdict() == Verdict::fit) RC_ASSERT(b.plate == b.typed && b.corrections.empty());
    for (const Reason& r : id.judgement.reasons) RC_ASSERT(!r.code.empty() && !r.text.empty() && !r.rests_on.empty());
}

}  // namespace
}  // namespace fettle::identity
