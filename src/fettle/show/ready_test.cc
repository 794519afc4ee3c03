#include "fettle/show/ready.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

std::string by_name(const Proposal& act) {
    return "<" + std::string(name_of(act.act)) + ">";
}

Reason reason(const char* code, Verdict v, Next next = {}) {
    return {code, v, std::string("of ") + code, "here", "typed", std::move(next)};
}

workshop::ReadyChecked of(std::vector<Reason> reasons) {
    workshop::ReadyChecked c;
    c.job = "0001X";
    c.release = "27.3.118";
    c.planned = true;
    c.step = 1;
    for (Reason& r : reasons) {
        c.check.judgement.add(r);
        c.check.items.push_back({"the " + r.code, "as said", std::move(r)});
    }
    c.may = ready::may_start(c.check.judgement, {});
    return c;
}

std::string page(const workshop::ReadyChecked& c) {
    return ready_checked(c, by_name).text.text(by_name);
}
std::size_t times(const std::string& page, const std::string& text) {
    std::size_t n = 0;
    for (std::size_t at = page.find(text); at != std::string::npos; at = page.find(text, at + 1)) ++n;
    return n;
}

TEST(ShowReady, TheFirstLineSaysWhetherItMayStart) {
    EXPECT_EQ(ready_checked(of({reason("a", Verdict::fit)}), by_name).headline,
              "Ready: the step to 27.3.118 may start.");
    EXPECT_EQ(ready_checked(of({reason("a", Verdict::mind)}), by_name).headline,
              "Ready: the step to 27.3.118 may start, knowing what is said below.");
    EXPECT_EQ(ready_checked(of({reason("a", Verdict::cant_say)}), by_name).headline,
              "Not ready: 1 point is open before the step to 27.3.118 may start.");
    // A halt is said before what is only not known.
    EXPECT_EQ(ready_checked(of({reason("a", Verdict::cant_say), reason("b", Verdict::halt)}), by_name).headline,
              "Halt: the step to 27.3.118 must not start: of b.");
    workshop::ReadyChecked unplanned = of({reason("a", Verdict::cant_say)});
    unplanned.planned = false;
    EXPECT_NE(ready_checked(unplanned, by_name).headline.find("27.3.118, which no plan looked at,"), std::string::npos);
}

TEST(ShowReady, WhatSettlesSeveralItemsInARowIsSaidOnce) {
    const Next say = "say supply.volts, supply.limit";
    const std::string text = page(of({reason("a", Verdict::cant_say, say), reason("b", Verdict::cant_say, say),
                                      reason("c", Verdict::mind, Next{"touch it: ", propose(Act::test_touch)})}));
    EXPECT_EQ(times(text, "next: say supply.volts"), 1u) << text;
    EXPECT_EQ(times(text, "next: touch it: <test-touch>\n"), 1u) << text;
    EXPECT_EQ(times(text, "or sign for: "), 2u) << text;  // a mind starts without
}

TEST(ShowReady, ACautionStandsOnceAtTheEnd) {
    workshop::ReadyChecked c = of({reason("a", Verdict::halt, "lead the exhaust outside")});
    c.check.cautions = {"lead the exhaust outside"};
    EXPECT_EQ(times(page(c), "lead the exhaust outside"), 1u);
    EXPECT_NE(page(c).find("Cautions\n  lead the exhaust outside\n"), std::string::npos);
}

TEST(ShowReady, WhoSignedStandsUnderTheReason) {
    workshop::ReadyChecked c = of({reason("a", Verdict::cant_say), reason("b", Verdict::cant_say)});
    c.signed_for = {{"a:here", "R. Moor", "seen to it"}};
    EXPECT_EQ(times(page(c), "signed for by R. Moor: seen to it"), 1u);
    EXPECT_LT(page(c).find("signed for by"), page(c).find("of b"));
}

TEST(ShowReady, HowToAnswerIsSaidOnlyWhileSomethingIsOpen) {
    EXPECT_EQ(page(of({reason("a", Verdict::fit)})).find("<answer>"), std::string::npos);
    const std::string open = page(of({reason("a", Verdict::mind)}));
    EXPECT_NE(open.find("<answer>"), std::string::npos);
    EXPECT_NE(open.find("<accept>"), std::string::npos);
}

TEST(ShowReady, ItemsOfTheDocumentCarryTheActThatSettlesThem) {
    const auto c =
        of({reason("a", Verdict::fit), reason("b", Verdict::halt, Next{"touch it: ", propose(Act::test_touch)})});
    const json::object data = ready_checked(c, by_name).data;
    const json::array& items = data.at("items").as_array();
    ASSERT_EQ(items.size(), 2u);
    EXPECT_EQ(items[0].at("next"), "");
    EXPECT_EQ(items[0].as_object().if_contains("act"), nullptr);
    EXPECT_EQ(items[1].at("next"), "touch it: <test-touch>");
    EXPECT_EQ(items[1].at("act").at("act"), "test-touch");
    EXPECT_EQ(data.at("standing"), json::array({"b:here"}));
    // Reasons that need nothing are no reasons of the answer.
    EXPECT_EQ(ready_checked(c, by_name).judgement.reasons.size(), 1u);
}

}  // namespace
}  // namespace fettle::show
