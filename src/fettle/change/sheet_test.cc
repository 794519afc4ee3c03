#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include "fettle/change/test_releases.h"

namespace fettle::change {
namespace {

using namespace test;

const std::string digest_a(64, 'a');
const std::string digest_b(64, 'b');

const Line& line(const ChangeSheet& s, const std::string& name) {
    for (const auto& l : s.lines) {
        if (l.name == name) return l;
    }
    throw std::runtime_error("no line " + name);
}

InstalledList typed(std::vector<Installed> pieces) {
    return {Origin::typed, "", std::move(pieces)};
}

TEST(Sheet, EveryActionWithItsReason) {
    family::Release r = release("27.3.118", "4.0");
    r.pieces = {piece("main", "system", "newer", "4.0", 100), piece("main", "system", "same", "4.0", 200, digest_a),
                piece("main", "system", "fresh", "4.0", 300), piece("main", "system", "other", "4.0", 400, digest_a),
                piece("main", "system", "older", "3.0", 500), piece("main", "system", "not-mine", "4.0", 600)};
    r.pieces[5].issues = {"F"};
    const auto list = typed({{"main", "newer", "3.0", ""},
                             {"main", "same", "4.0", digest_a},
                             {"main", "other", "4.0", digest_b},
                             {"main", "older", "3.5", ""},
                             {"main", "extra", "1.0", ""}});
    const auto s = change_sheet(dunnock(), r, list, set_at("27.1.110"));
    EXPECT_EQ(line(s, "newer").action, Action::replace);
    EXPECT_EQ(line(s, "newer").because, "4.0 is newer than 3.0");
    EXPECT_EQ(line(s, "same").action, Action::keep);
    EXPECT_EQ(line(s, "same").because, "4.0 is installed, same digest");
    EXPECT_EQ(line(s, "fresh").action, Action::add);
    EXPECT_EQ(line(s, "other").action, Action::replace);
    EXPECT_EQ(line(s, "other").because, "same version 4.0, other digest");
    EXPECT_EQ(line(s, "older").action, Action::replace);
    EXPECT_TRUE(line(s, "older").downgrade);
    EXPECT_EQ(line(s, "not-mine").action, Action::does_not_apply);
    EXPECT_EQ(line(s, "extra").action, Action::does_not_apply);
    EXPECT_EQ(s.bytes, 100u + 300u + 400u + 500u);
    EXPECT_EQ(s.tally.landed.expected, 4);
    EXPECT_EQ(s.tally.passed_over.expected, 2);  // "same", and "not-mine": this family counts what does not apply
    EXPECT_EQ(s.tally.total, 6);                 // what the release does not name is not counted
    family::Family plain = dunnock();
    plain.tally->counts_not_applying = false;
    const auto without = change_sheet(plain, r, list, set_at("27.1.110"));
    EXPECT_EQ(without.tally.passed_over.expected, 1);
    EXPECT_EQ(without.tally.total, 5);
    EXPECT_EQ(s.tally.landed.low, s.tally.landed.high);
    const auto* down = reason(s.judgement, "silent-downgrade");
    ASSERT_NE(down, nullptr);
    EXPECT_NE(down->text.find("main older"), std::string::npos);
}

TEST(Sheet, AFamilyThatTakesNothingOlderRefuses) {
    auto family = dunnock();
    family.refuses_older = true;
    const auto list = typed({{"main", "kernel", "9.0", ""}});
    auto r = release("27.3.118", "4.0");
    r.pieces = {piece("main", "kernel", "kernel", "4.0")};
    const auto s = change_sheet(family, r, list, set_at("27.1.110"));
    EXPECT_EQ(line(s, "kernel").action, Action::refuse);
    EXPECT_EQ(line(s, "kernel").after, "9.0");
    EXPECT_EQ(s.tally.refused.expected, 1);
    EXPECT_EQ(s.bytes, 0u);
    EXPECT_EQ(after(s, r, list).find("main", "kernel")->version, "9.0");
}

TEST(Sheet, AnInferredListSaysSoWithItsRange) {  // story 54
    const auto from = release("27.1.110", "3.0");
    auto to = release("27.3.118", "4.0");
    to.pieces[0].version = "3.0";  // rescue is the same in both
    const auto set = set_at("27.1.110");
    const auto alone = change_sheet(dunnock(), to, infer(from, set), set);
    EXPECT_EQ(alone.rests_on, Origin::inferred);
    EXPECT_EQ(alone.tally.landed.expected, 9);
    EXPECT_EQ(alone.tally.passed_over.expected, 1);
    EXPECT_EQ(alone.tally.landed.low, 0);
    EXPECT_EQ(alone.tally.landed.high, 10);
    ASSERT_NE(reason(alone.judgement, "as-found-inferred"), nullptr);
    EXPECT_EQ(reason(alone.judgement, "as-found-inferred")->rests_on, "inferred");
    // A piece that never differed in any release of the shelf is certain.
    const auto known = change_sheet(dunnock(), to, infer(from, set), set, {from, to});
    EXPECT_EQ(known.tally.landed.high, 9);
    EXPECT_EQ(known.tally.passed_over.low, 1);
}

TEST(Sheet, NothingKnownIsAllReplaceAndSaysSo) {
    const auto s = change_sheet(dunnock(), release("27.3.118", "4.0"), {}, set_at("27.1.110"));
    EXPECT_EQ(s.count(Action::replace), 10);
    ASSERT_NE(reason(s.judgement, "as-found-unknown"), nullptr);
}

TEST(Sheet, AllInstalledIsNothingToDo) {
    const auto r = release("27.3.118", "4.0");
    const auto s = change_sheet(dunnock(), r, infer(r, set_at("27.3.118")), set_at("27.3.118"));
    EXPECT_TRUE(s.nothing_to_do());
    EXPECT_EQ(s.bytes, 0u);
    EXPECT_NE(reason(s.judgement, "nothing-to-write"), nullptr);
}

TEST(Sheet, UnreadableVersionsAreNamed) {
    const auto list = typed({{"main", "kernel", "v?", ""}, {"tuner", "radio", "1.0", ""}});
    const auto s = change_sheet(dunnock(), release("27.3.118", "4.0"), list, set_at("27.1.110"));
    ASSERT_NE(reason(s.judgement, "version-unreadable"), nullptr);
    EXPECT_NE(reason(s.judgement, "version-unreadable")->text.find("main kernel"), std::string::npos);
    ASSERT_NE(reason(s.judgement, "piece-strange"), nullptr);
    EXPECT_EQ(line(s, "kernel").because, "4.0 is another version than v?; which is newer is not known");
}

TEST(Sheet, WhatIsOlderCannotBeToldMayBeRefused) {
    auto family = dunnock();
    family.refuses_older = true;
    auto r = release("27.3.118", "4.0");
    r.pieces = {piece("main", "kernel", "kernel", "4.0"), piece("main", "system", "app", "4.0")};
    const auto s =
        change_sheet(family, r, typed({{"main", "kernel", "v?", ""}, {"main", "app", "3.0", ""}}), set_at("27.1.110"));
    ASSERT_NE(reason(s.judgement, "refusal-not-known"), nullptr);
    EXPECT_EQ(reason(s.judgement, "refusal-not-known")->verdict, Verdict::cant_say);
    EXPECT_EQ(s.tally.landed.low, 1);
    EXPECT_EQ(s.tally.landed.high, 2);
    EXPECT_EQ(s.tally.refused.high, 1);
    // A family that takes older ones writes it either way.
    const auto other = change_sheet(dunnock(), r, typed({{"main", "kernel", "v?", ""}, {"main", "app", "3.0", ""}}),
                                    set_at("27.1.110"));
    EXPECT_EQ(reason(other.judgement, "refusal-not-known"), nullptr);
    EXPECT_EQ(other.tally.landed.low, 2);
}

TEST(Sheet, PiecesThatNoReleaseHasAreNamedAndHoldUpWhatTheyMayHide) {
    const auto from = release("27.1.110", "3.0");
    const auto to = release("27.3.118", "4.0");
    const auto set = set_at("27.1.110");
    auto list = infer(from, set);
    list.origin = Origin::typed;
    list.pieces.push_back({"main", "kernal", "3.0", ""});
    const auto extra = change_sheet(dunnock(), to, list, set, {from, to});
    ASSERT_NE(reason(extra.judgement, "piece-unknown"), nullptr);
    EXPECT_EQ(reason(extra.judgement, "piece-unknown")->verdict, Verdict::mind);
    // Of another box: it hides nothing there.
    std::erase_if(list.pieces, [](const Installed& p) { return p.name == "picture-0"; });
    EXPECT_EQ(reason(change_sheet(dunnock(), to, list, set, {from, to}).judgement, "piece-unknown")->verdict,
              Verdict::mind);
    std::erase_if(list.pieces, [](const Installed& p) { return p.name == "kernel"; });
    const auto misspelt = change_sheet(dunnock(), to, list, set, {from, to});
    const auto* r = reason(misspelt.judgement, "piece-unknown");
    EXPECT_EQ(r->verdict, Verdict::cant_say);
    EXPECT_NE(r->text.find("main kernal"), std::string::npos);
    EXPECT_NE(r->text.find("main kernel is not on the list"), std::string::npos);
    ASSERT_NE(reason(misspelt.judgement, "as-found-short"), nullptr);
    EXPECT_NE(reason(misspelt.judgement, "as-found-short")->text.find("display picture-0"), std::string::npos);
    // What the boxes say themselves is neither misspelt nor left out.
    list.origin = Origin::read;
    const auto read = change_sheet(dunnock(), to, list, set, {from, to});
    EXPECT_EQ(reason(read.judgement, "piece-unknown")->verdict, Verdict::mind);
    EXPECT_EQ(reason(read.judgement, "as-found-short"), nullptr);
}

TEST(SetAfter, ShowsTheReleaseAndItsCounterWhichNeverFalls) {
    const auto family = dunnock();
    auto set = set_at("26.1.090");
    set = set_after(family, set, release("26.4.102", "2.0", "", 1));
    EXPECT_EQ(set["main"].release, "26.4.102");
    EXPECT_EQ(set["display"].counter, 1);
    set["main"].counter = 5;
    EXPECT_EQ(set_after(family, set, release("27.3.118", "4.0", "", 1))["main"].counter, 5);
    auto main_only = release("27.3.118", "4.0", "", 1);
    std::erase_if(main_only.pieces, [](const auto& p) { return p.box == "display"; });
    EXPECT_EQ(set_after(family, set, main_only)["display"].release, "26.4.102");
}

RC_GTEST_PROP(Sheet, LandingWhollyLeavesNothingToDo, ()) {
    // Whatever was installed: after the step, the same sheet drawn again has nothing to write, and the classes sum up.
    const auto family = dunnock();
    const auto r = release("27.3.118", "4.0", "", 1, *rc::gen::inRange(0, 6));
    InstalledList list = typed({});
    for (const auto& p : r.pieces) {
        const int what = *rc::gen::inRange(0, 4);
        if (what < 3) list.pieces.push_back({p.box, p.name, what == 0 ? "4.0" : what == 1 ? "3.9" : "4.1", ""});
    }
    if (list.pieces.empty()) list.pieces.push_back({"main", "kernel", "3.0", ""});
    const auto set = set_at("27.1.110");
    const auto s = change_sheet(family, r, list, set);
    RC_ASSERT(s.tally.landed.expected + s.tally.passed_over.expected + s.tally.refused.expected == s.tally.total);
    RC_ASSERT(s.tally.total == static_cast<int>(r.pieces.size()));
    const auto again = change_sheet(family, r, after(s, r, list), set);
    RC_ASSERT(again.nothing_to_do());
}

}  // namespace
}  // namespace fettle::change
