#include "fettle/route/route.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "fettle/route/test_shelves.h"

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
    ASSERT_NE(reason(a.judgement, "consent-needed"), nullptr);
    EXPECT_EQ(reason(a.judgement, "consent-needed")->next,
              (Next{"ask the owner, then: ", propose(Act::plan, {given("consent", "one-way")})}));
    const auto agreed = ask(whole_shelf(), set_at("26.1.090"), {"27.3.118", true, ""});
    EXPECT_EQ(agreed.judgement.verdict(), Verdict::mind);
    EXPECT_TRUE(reason(agreed.judgement, "one-way-door-agreed")->next.empty());
}

// n releases of one line, each of which installs from any older one.
std::vector<family::Release> line_of(int n) {
    std::vector<family::Release> shelf;
    for (int i = 0; i < n; ++i) shelf.push_back(release(fmt::format("27.1.{}", 200 + i), "4.0"));
    return shelf;
}

TEST(Route, SecondsWithoutAWayBackOrderTheWaysOfAnyShelf) {
    // Eleven releases: the straight way has 100 seconds with no way back, by the middle one it is 40 and 50.
    const auto shelf = line_of(11);
    int weighed = 0;
    const auto cost = [&](const family::Release& to, const change::SetState& before) -> StepWeight {
        ++weighed;
        const bool middle = to.release == "27.1.205", from_middle = before.at("main").release == "27.1.205";
        return {middle ? 40.0 : from_middle ? 50.0 : 100.0, 60};
    };
    const auto a = find_route(dunnock(), shelf, set_at("27.1.110"), {"27.1.210", true, ""}, cost);
    ASSERT_TRUE(a.recommended);
    EXPECT_EQ(names(*a.recommended), (std::vector<std::string>{"27.1.205", "27.1.210"}));
    EXPECT_EQ(a.recommended->no_way_back_p90_s, 90);
    EXPECT_NE(a.recommended->why.find("shorter in zones with no way back"), std::string::npos);
    ASSERT_EQ(a.others.size(), 1u);  // one step, quicker
    EXPECT_TRUE(a.weighed);
    EXPECT_EQ(reason(a.judgement, "ways-not-weighed"), nullptr);
    EXPECT_GT(weighed, 10);
}

// Seen: an older release as the first step, because 86.6 s beat 86.7 s.
TEST(Route, WhatTheForecastCannotTellApartDecidesNothing) {
    auto family = dunnock();
    family.known.clear();
    std::vector<family::Release> shelf;
    for (const char* name : {"26.4.102", "27.1.110", "27.2.001", "27.3.118"})
        shelf.push_back(release(name, "1", "", 1));
    const auto cost = [](const family::Release& to, const change::SetState&) -> StepWeight {
        const bool last = to.release == "27.3.118";
        return {last ? 86.0 : 0.6, last ? 60.0 : 0.0};
    };
    const auto straight = [&](const family::Release& to, const change::SetState& before) -> StepWeight {
        StepWeight w = cost(to, before);
        if (before.at("main").release == "27.1.110" && to.release == "27.3.118") w.zone_s += 0.7;
        return w;
    };
    const auto a = find_route(family, shelf, set_at("27.1.110"), {"27.3.118", true, ""}, straight);
    ASSERT_TRUE(a.recommended);
    EXPECT_EQ(names(*a.recommended), std::vector<std::string>{"27.3.118"});
    EXPECT_TRUE(a.others.empty());
}

// Seen: with a newer release on the shelf whose counter nobody tells, the way "newer, then the oldest" was a caution.
TEST(Route, ACounterIsNotForgottenOnTheWay) {
    auto shelf = whole_shelf();
    shelf.push_back(release("28.1.001", "5.0", "26.4.102"));
    for (const char* at : {"27.3.118", "28.1.001"}) {
        const auto a = ask(shelf, set_at(at), {"26.1.090", true, ""});
        EXPECT_FALSE(a.recommended) << at;
        EXPECT_EQ(a.judgement.verdict(), Verdict::halt) << at;
    }
    // Without the family's door only the floor is known: at least 1 once it was there.
    auto family = dunnock();
    for (auto& k : family.known) k.one_way_door = false;
    EXPECT_FALSE(find_route(family, shelf, set_at("27.3.118"), {"26.1.090", true, ""}).recommended);
    const auto open = find_route(family, shelf, set_at("28.1.001"), {"26.1.090", true, ""});
    EXPECT_NE(reason(open.judgement, "counter-unknown"), nullptr);
    EXPECT_EQ(open.judgement.verdict(), Verdict::cant_say);
}

TEST(Route, ABoxNewerThanTheShelfIsTold) {
    const auto a = ask(whole_shelf(), set_at("28.1.001"), {"newest", true, ""});
    EXPECT_FALSE(a.recommended);
    ASSERT_NE(reason(a.judgement, "box-newer-than-shelf"), nullptr);
    EXPECT_EQ(reason(a.judgement, "box-newer-than-shelf")->verdict, Verdict::halt);
}

TEST(Route, WhereNothingOlderIsTakenNoWayGoesDown) {
    auto family = dunnock();
    family.refuses_older = true;
    const auto a = find_route(family, whole_shelf(), set_at("27.3.118"), {"27.1.110", true, ""});
    EXPECT_FALSE(a.recommended);
    EXPECT_NE(reason(a.judgement, "older-not-taken"), nullptr);
    // Also of a found release that no index on the shelf names.
    const auto found = find_route(family, whole_shelf(), set_at("27.2.005"), {"27.1.110", true, ""});
    EXPECT_EQ(found.judgement.verdict(), Verdict::halt);
}

TEST(Route, AKnownWayComesBeforeAnUnknownOne) {
    // Straight, and by 27.2.001, of which the index does not say the markets.
    auto family = dunnock();
    family.known.clear();
    std::vector<family::Release> shelf{release("27.1.110", "1"), release("27.2.001", "2"), release("27.3.118", "3")};
    shelf[1].markets.clear();
    const auto cost = [](const family::Release& to, const change::SetState& before) -> StepWeight {
        const bool straight = to.release == "27.3.118" && before.at("main").release == "27.1.110";
        return {straight ? 100.0 : 10.0, 60};
    };
    const auto a = find_route(family, shelf, set_at("27.1.110"), {"27.3.118", true, ""}, cost);
    ASSERT_TRUE(a.recommended);
    EXPECT_EQ(names(*a.recommended), std::vector<std::string>{"27.3.118"});
    EXPECT_EQ(a.judgement.verdict(), Verdict::fit);
    ASSERT_EQ(a.others.size(), 1u);
    EXPECT_EQ(a.others[0].doubt, 1);
}

TEST(Route, WhatWasNotWeighedIsSaid) {
    int weighed = 0;
    const auto cost = [&](const family::Release&, const change::SetState&) -> StepWeight {
        ++weighed;
        return {1, 1};
    };
    const auto a = find_route(dunnock(), line_of(30), set_at("27.1.110"), {"27.1.229", true, ""}, cost);
    ASSERT_TRUE(a.recommended);
    EXPECT_FALSE(a.weighed);
    EXPECT_EQ(weighed, 0);
    ASSERT_NE(reason(a.judgement, "ways-not-weighed"), nullptr);
    EXPECT_EQ(reason(a.judgement, "ways-not-weighed")->verdict, Verdict::mind);
    // Nothing to choose from, nothing to weigh: a target that cannot be reached.
    const auto none = find_route(dunnock(), whole_shelf(), set_at("27.3.118"), {"26.1.090", true, ""}, cost);
    EXPECT_FALSE(none.recommended);
    EXPECT_EQ(weighed, 0);
    EXPECT_EQ(reason(none.judgement, "ways-not-weighed"), nullptr);
}

TEST(Route, TheDoorIsNamedAndNothingElse) {  // story 10
    const auto a = ask(whole_shelf(), set_at("27.3.118"), {"26.1.090", true, ""});
    EXPECT_FALSE(a.recommended);
    ASSERT_EQ(a.against.size(), 1u);
    EXPECT_EQ(a.against[0].find("one-way door at 26.4.102"), 0u);
    EXPECT_TRUE(a.would_open.empty());
    EXPECT_EQ(a.judgement.verdict(), Verdict::halt);
}

TEST(Route, NothingGoesBackBeforeADoorOfWhichNoCounterIsKnown) {
    auto family = dunnock();
    family.known.clear();
    family.known.push_back({"27.1.110", {}, false, true, {}});
    std::vector<family::Release> shelf;
    for (const char* name : {"26.4.102", "27.1.110", "27.3.118"}) shelf.push_back(release(name, "1"));
    for (const char* at : {"27.1.110", "27.3.118"}) {  // the door itself, and past it
        const auto a = find_route(family, shelf, set_at(at), {"26.4.102", true, ""});
        EXPECT_FALSE(a.recommended) << at;
        ASSERT_EQ(a.against.size(), 1u) << at;
        EXPECT_EQ(a.against[0].find("one-way door at 27.1.110"), 0u) << at;
    }
    EXPECT_TRUE(find_route(family, shelf, set_at("27.3.118"), {"27.1.110", true, ""}).recommended);
}

// Seen: with a door that the family file does not list, standing above it made the way back a caution.
TEST(Route, ADoorThatOnlyAPackageNamesIsADoor) {
    auto family = dunnock();
    family.known.clear();
    std::vector<family::Release> shelf;
    for (const char* name : {"26.4.102", "27.1.110", "27.3.118"}) shelf.push_back(release(name, "1"));
    shelf[1].one_way_door = true;
    for (const char* at : {"27.1.110", "27.3.118", "28.1.001"}) {  // the door, past it, and past it on no shelf
        const auto a = find_route(family, shelf, set_at(at), {"26.4.102", true, ""});
        EXPECT_FALSE(a.recommended) << at;
        EXPECT_NE(reason(a.judgement, "one-way-door"), nullptr) << at;
    }
    // Its counter counts for a box above it whose own release says none.
    shelf[0].counter = 1;
    shelf[1].counter = 2;
    EXPECT_EQ(find_route(family, shelf, set_at("27.3.118"), {"26.4.102", true, ""}).judgement.verdict(), Verdict::halt);
    // Not a door of another family, nor of a market that no box here is for.
    shelf[0].counter = shelf[1].counter = shelf[2].counter = 1;
    shelf[1].counter.reset();
    auto others = shelf;
    others[1].markets = {"MD"};
    EXPECT_TRUE(find_route(family, others, set_at("27.3.118"), {"26.4.102", true, ""}).recommended);
    others = shelf;
    others[1].family = "another";
    EXPECT_TRUE(find_route(family, others, set_at("27.3.118"), {"26.4.102", true, ""}).recommended);
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
    const auto empty = ask({}, set_at("27.1.110"), {"newest", false, ""});
    ASSERT_NE(reason(empty.judgement, "shelf-empty"), nullptr);
    ASSERT_NE(reason(empty.judgement, "shelf-empty")->next.proposal(), nullptr);
    EXPECT_EQ(reason(empty.judgement, "shelf-empty")->next.proposal()->act, Act::add_to_shelf);
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

TEST(Route, PairRulesGoByTheFamilysOwnNamesOfTheNumbers) {
    auto family = dunnock();
    family.order.fields = {"year", "wave"};
    family.pairs = {{"display.wave == main.wave", "at rest"}};
    auto shelf = whole_shelf();
    auto& newest = shelf.back();  // of the main box alone: wave 3 beside wave 1
    std::erase_if(newest.pieces, [](const auto& p) { return p.box == "display"; });
    const auto no = find_route(family, shelf, set_at("27.1.110"), {"27.3.118", true, ""});
    EXPECT_FALSE(no.recommended);
    EXPECT_EQ(no.against, std::vector<std::string>{"pair rule at rest: display.wave == main.wave"});
    family.pairs = {{"display.year == main.year", "at rest"}};
    EXPECT_TRUE(find_route(family, shelf, set_at("27.1.110"), {"27.3.118", true, ""}).recommended);
    // A number that the version has not: not known, never passed over.
    family.order.fields.push_back("third");
    family.order.fields.push_back("fourth");
    family.pairs = {{"display.fourth == main.fourth", "at rest"}};
    const auto a = find_route(family, shelf, set_at("27.1.110"), {"27.3.118", true, ""});
    ASSERT_TRUE(a.recommended);
    ASSERT_NE(reason(a.judgement, "pair-not-known"), nullptr);
    EXPECT_EQ(reason(a.judgement, "pair-not-known")->verdict, Verdict::cant_say);
}

TEST(Route, WhatStandsAgainstSaysWhetherOneOrOnlyAllWouldOpenAWay) {
    const auto one = ask(whole_shelf(), set_at("27.1.110"), {"26.1.090", true, ""});
    EXPECT_EQ(one.against.size(), 1u);
    EXPECT_FALSE(one.against_together);
    auto shelf = whole_shelf();
    shelf.front().markets = {"MD"};
    const auto both = ask(shelf, set_at("27.1.110"), {"26.1.090", true, ""});
    ASSERT_EQ(both.against.size(), 2u);
    EXPECT_TRUE(both.against_together);
    EXPECT_NE(reason(both.judgement, "no-route")->text.find("only without all of these"), std::string::npos);
}

TEST(Route, EqualsThePlainSearchOnSmallShelves) {  // slow/shelves_test.cc goes through thousands
    std::mt19937_64 random(std::random_device{}());
    test::Counted counted;
    for (int i = 0; i < 60; ++i) {
        const auto seed = random();
        std::mt19937_64 own(seed);
        ASSERT_EQ(test::differs(test::random_shelf(own), counted), "") << "seed " << seed;
    }
    EXPECT_GT(counted.routes, 5);
    EXPECT_GT(counted.none, 5);
}

TEST(Route, ReleasesThatCannotBeComparedStandInNobodysWay) {
    auto shelf = whole_shelf();
    shelf.push_back(release("next spring", "5.0"));
    const auto a = ask(shelf, set_at("27.1.110"), {"27.3.118", true, ""});
    ASSERT_TRUE(a.recommended);
    EXPECT_EQ(names(*a.recommended), std::vector<std::string>{"27.3.118"});
    EXPECT_EQ(a.releases.back().release, "next spring");
}

// Found by the relations over random worlds: an equal number in another family's index lent the box its counter.
TEST(Counters, AnotherFamilysPackageOfEqualNumberSaysNothingOfTheBox) {
    auto family = change::test::dunnock();
    family.known.clear();
    auto alike = change::test::release("27.1.110", "1.0", "");
    alike.counter = 7;
    const auto set = change::test::set_at("27.1.110");
    EXPECT_EQ(with_counters(family, {alike}, set).at("main").counter, 7);
    alike.family.clear();  // an index without an item for it
    EXPECT_EQ(with_counters(family, {alike}, set).at("main").counter, 7);
    alike.family = "another";
    EXPECT_FALSE(with_counters(family, {alike}, set).at("main").counter);
}

}  // namespace
}  // namespace fettle::route
