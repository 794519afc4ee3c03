#include "fettle/plan/found.h"

#include <gtest/gtest.h>

#include "fettle/change/test_releases.h"
#include "fettle/plan/language.h"
#include "fettle/plan/plan.h"

namespace fettle::plan {
namespace {

using namespace change::test;

TEST(Found, AListTellsTheReleaseOfEachBox) {
    const auto shelf = whole_shelf();
    const auto set = set_at("27.1.110");
    change::InstalledList list;
    list.origin = Origin::typed;
    for (const auto& p : shelf[2].pieces)
        if (p.box == "main") list.pieces.push_back({p.box, p.name, p.version, ""});
    for (const auto& p : shelf[1].pieces)  // the display at 26.4.102
        if (p.box == "display") list.pieces.push_back({p.box, p.name, p.version, ""});
    EXPECT_EQ(release_by_list(shelf, list, set, "main"), "27.1.110");
    EXPECT_EQ(release_by_list(shelf, list, set, "display"), "26.4.102");
    const auto mixed = judge_found(dunnock(), shelf, list, set);
    ASSERT_NE(reason(mixed, "found-mixed"), nullptr);
    EXPECT_EQ(mixed.verdict(), Verdict::cant_say);
    EXPECT_EQ(reason(mixed, "found-half-done"), nullptr);
    EXPECT_NE(reason(mixed, "found-another-release"), nullptr);
    // Both boxes wholly at another release than the view: no pair rule is broken, and still one of the two is wrong.
    change::InstalledList other;
    other.origin = Origin::typed;
    for (const auto& p : shelf[1].pieces) other.pieces.push_back({p.box, p.name, p.version, ""});
    EXPECT_EQ(judge_found(dunnock(), shelf, other, set).verdict(), Verdict::cant_say);
    EXPECT_EQ(judge_found(dunnock(), shelf, other, set_at("26.4.102")).verdict(), Verdict::fit);
    list.pieces.back().version = "9";  // no release's
    EXPECT_FALSE(release_by_list(shelf, list, set, "display"));
    EXPECT_NE(reason(judge_found(dunnock(), shelf, list, set), "found-half-done"), nullptr);
    auto views = set;
    views["display"].release = "26.4.102";
    list.origin = Origin::inferred;
    EXPECT_NE(reason(judge_found(dunnock(), shelf, list, views), "found-mixed"), nullptr);
}

TEST(Found, PiecesOfTwoReleasesAreAnUpdateThatWasBegunElsewhere) {
    const auto shelf = whole_shelf();
    change::InstalledList list;
    list.origin = Origin::typed;
    int fresh = 0;
    for (std::size_t i = 0; i < shelf[2].pieces.size(); ++i) {
        const auto& old = shelf[2].pieces[i];
        const auto now = std::find_if(shelf[3].pieces.begin(), shelf[3].pieces.end(),
                                      [&](const auto& p) { return p.box == old.box && p.name == old.name; });
        const bool written = i < shelf[2].pieces.size() / 2 && now != shelf[3].pieces.end();
        fresh += written && now->version != old.version;
        list.pieces.push_back({old.box, old.name, written ? now->version : old.version, ""});
    }
    ASSERT_GT(fresh, 0);
    const auto half = half_done(shelf, list, set_at(shelf[2].release));
    ASSERT_TRUE(half);
    EXPECT_EQ(half->other, shelf[3].release);
    EXPECT_EQ(half->of_other, fresh);
    EXPECT_EQ(half->of_neither(), 0);
    const auto judged = judge_found(dunnock(), shelf, list, set_at(shelf[2].release));
    ASSERT_NE(reason(judged, "found-half-done"), nullptr);
    EXPECT_EQ(judged.verdict(), Verdict::cant_say);
    // The box already calls itself the new one: the same, from the other side.
    const auto other = half_done(shelf, list, set_at(shelf[3].release));
    ASSERT_TRUE(other);
    EXPECT_EQ(other->other, shelf[2].release);
    // Inferred lists have pieces of one release only, and a whole one is none.
    list.origin = Origin::inferred;
    EXPECT_FALSE(half_done(shelf, list, set_at(shelf[2].release)));
    change::InstalledList whole;
    whole.origin = Origin::typed;
    for (const auto& p : shelf[2].pieces) whole.pieces.push_back({p.box, p.name, p.version, ""});
    EXPECT_FALSE(half_done(shelf, whole, set_at(shelf[2].release)));
}

TEST(Language, IsToldWhereItIsClear) {  // sentences made up here
    EXPECT_EQ(language_of("The display stays dark after a short stop"), "en");
    EXPECT_EQ(language_of("Das Bild bleibt nach dem Start schwarz"), "de");
    EXPECT_EQ(language_of("L'écran reste noir et ne revient pas"), "fr");
    EXPECT_EQ(language_of("Экран остаётся тёмным"), "Cyrillic");
    EXPECT_EQ(language_of("display dark"), "");
    EXPECT_EQ(language_of(""), "");
}

TEST(Plan, AComplaintInALanguageOfNoNoteIsNotKnown) {
    const auto family = dunnock();
    const auto asked = [&](const char* complaint) {
        PlanRequest q;
        q.family = &family;
        q.set = set_at("27.1.110");
        q.shelf = whole_shelf();
        q.to = "27.3.118";
        q.complaint = complaint;
        return make_plan(q).judgement;
    };
    const auto german = asked("Das Bild bleibt nach dem Start schwarz");
    ASSERT_NE(reason(german, "worth-language"), nullptr);
    EXPECT_EQ(reason(german, "worth-language")->verdict, Verdict::cant_say);
    EXPECT_EQ(reason(asked("The picture is dark after the start"), "worth-language"), nullptr);
}

}  // namespace
}  // namespace fettle::plan
