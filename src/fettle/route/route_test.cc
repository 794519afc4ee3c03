#include "fettle/route/route.h"

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include <functional>

#include "fettle/change/test_releases.h"

namespace fettle::route {
namespace {

using namespace change::test;

std::vector<std::string> names(const Route& r) {
    std::vector<std::string> out;
    for (const auto& s : r.steps) out.push_back(s.release);
    return out;
}

RouteAnswer ask(const std::vector<family::Release>& shelf, const change::SetState& set, Goal goal) {
    return find_route(dunnock(), shelf, set, goal);
}

TEST(Route, OneStep) {  // story 1
    const auto a = ask(whole_shelf(), set_at("27.1.110"), {"27.3.118", false, ""});
    ASSERT_TRUE(a.recommended);
    EXPECT_EQ(names(*a.recommended), std::vector<std::string>{"27.3.118"});
    EXPECT_EQ(a.judgement.verdict(), Verdict::fit);
}

TEST(Route, TwoStepsThroughTheDoorAskConsent) {  // story 2
    const auto a = ask(whole_shelf(), set_at("26.1.090"), {"newest", false, ""});
    ASSERT_TRUE(a.recommended);
    EXPECT_EQ(names(*a.recommended), (std::vector<std::string>{"26.4.102", "27.3.118"}));
    EXPECT_TRUE(a.recommended->steps[0].one_way_door);
    EXPECT_TRUE(a.recommended->steps[0].stepping_stone);
    EXPECT_EQ(a.recommended->irreversible, 0);  // the target needs that door
    EXPECT_EQ(a.judgement.verdict(), Verdict::cant_say);
    EXPECT_NE(reason(a.judgement, "consent-needed"), nullptr);
    const auto agreed = ask(whole_shelf(), set_at("26.1.090"), {"27.3.118", true, ""});
    EXPECT_EQ(agreed.judgement.verdict(), Verdict::mind);
}

TEST(Route, TheDoorIsNamedAndNothingElse) {  // story 10
    const auto a = ask(whole_shelf(), set_at("27.3.118"), {"26.1.090", true, ""});
    EXPECT_FALSE(a.recommended);
    ASSERT_EQ(a.against.size(), 1u);
    EXPECT_EQ(a.against[0].find("one-way door at 26.4.102"), 0u);
    EXPECT_TRUE(a.would_open.empty());
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
}

TEST(Route, TheMissingStoneIsNamed) {  // story 11
    auto shelf = whole_shelf();
    std::erase_if(shelf, [](const auto& r) { return r.release == "26.4.102"; });
    const auto a = ask(shelf, set_at("26.1.090"), {"27.3.118", true, ""});
    EXPECT_FALSE(a.recommended);
    EXPECT_EQ(a.would_open, std::vector<std::string>{"shelve 26.4.102"});
    EXPECT_NE(reason(a.judgement, "no-route-yet"), nullptr);
    // The same when only installs_from names it.
    auto family = dunnock();
    std::erase_if(family.known, [](const auto& k) { return k.release == "26.4.102"; });
    const auto b = find_route(family, shelf, set_at("26.1.090"), {"27.3.118", true, ""});
    EXPECT_EQ(b.would_open, std::vector<std::string>{"shelve 26.4.102"});
}

TEST(Route, NothingToDo) {  // story 12
    const auto a = ask(whole_shelf(), set_at("27.3.118"), {"newest", false, ""});
    ASSERT_TRUE(a.recommended);
    EXPECT_TRUE(a.recommended->steps.empty());
    EXPECT_NE(reason(a.judgement, "nothing-to-do"), nullptr);
}

TEST(Route, TheMarketStandsAgainst) {  // story 8
    auto shelf = whole_shelf();
    for (auto& r : shelf) r.markets = {"MD"};
    const auto a = ask(shelf, set_at("27.1.110"), {"27.3.118", true, ""});
    EXPECT_FALSE(a.recommended);
    ASSERT_NE(reason(a.judgement, "market"), nullptr);
    EXPECT_EQ(reason(a.judgement, "market")->verdict, Verdict::halt);
}

TEST(Route, AnEmptyShelfAndAnUnknownRelease) {
    EXPECT_NE(reason(ask({}, set_at("27.1.110"), {"newest", false, ""}).judgement, "shelf-empty"), nullptr);
    EXPECT_NE(reason(ask(whole_shelf(), set_at("27.1.110"), {"99.9.999", false, ""}).judgement, "release-unknown"),
              nullptr);
}

TEST(Route, PairRules) {
    const auto family = dunnock();
    auto set = set_at("27.1.110");
    EXPECT_EQ(pair_holds(family, family.pairs[0], set), true);
    set["display"].release = "26.4.102";
    EXPECT_EQ(pair_holds(family, family.pairs[0], set), false);
    set["display"].release = "";
    EXPECT_EQ(pair_holds(family, family.pairs[0], set), std::nullopt);
}

RC_GTEST_PROP(Route, EqualsBruteForceOnSmallShelves, ()) {
    // Every sequence of releases without a repeated state, tried one by one through fit, set_after and the pair rules.
    auto family = dunnock();
    for (auto& k : family.known) {
        k.stepping_stone = *rc::gen::arbitrary<bool>();
        k.one_way_door = *rc::gen::arbitrary<bool>();
    }
    std::vector<family::Release> shelf;
    for (const auto& k : family.known) {
        if (*rc::gen::inRange(0, 5) == 0) continue;
        auto r = release(k.release, "1", *rc::gen::element<std::string>("", "26.1.090", "26.4.102", "27.1.110"),
                         *rc::gen::inRange(0, 3), 1);
        const int boxes = *rc::gen::inRange(0, 4);  // 0: main alone, 1: display alone, else both
        if (boxes < 2) std::erase_if(r.pieces, [&](const auto& p) { return (p.box == "main") == (boxes == 1); });
        if (*rc::gen::inRange(0, 5) == 0) r.markets = {"MD"};
        shelf.push_back(r);
    }
    RC_PRE(!shelf.empty());
    const auto set = set_at(*rc::gen::element<std::string>("26.1.090", "26.4.102", "27.1.110", "27.3.118"));
    const auto target = *rc::gen::elementOf(shelf);
    std::size_t fewest = 0;
    const std::function<void(const change::SetState&, std::vector<change::SetState>)> search =
        [&](const change::SetState& now, std::vector<change::SetState> been) {
            been.push_back(now);
            for (const auto& r : shelf) {
                if (change::fit(family, r, now).verdict() == Verdict::halt) continue;
                const auto next = change::set_after(family, now, r);
                if (r.release == target.release) {
                    const bool rests = next.at("main").release.substr(0, 2) == next.at("display").release.substr(0, 2);
                    if (rests && (fewest == 0 || been.size() < fewest)) fewest = been.size();
                } else if (std::find(been.begin(), been.end(), next) == been.end()) {
                    search(next, been);
                }
            }
        };
    search(set, {});
    const auto a = find_route(family, shelf, set, {target.release, true, ""});
    if (reason(a.judgement, "nothing-to-do") != nullptr) return;
    RC_ASSERT(a.recommended.has_value() == (fewest > 0));
    if (!a.recommended) return;
    std::size_t least = a.recommended->steps.size();
    for (const auto& o : a.others) least = std::min(least, o.steps.size());
    RC_ASSERT(least == fewest);
}

}  // namespace
}  // namespace fettle::route
