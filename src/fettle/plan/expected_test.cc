#include "fettle/plan/expected.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::plan {
namespace {

PlanStep step() {
    PlanStep s;
    s.sheet.from = "27.1.110";
    s.sheet.to = "27.3.118";
    s.sheet.rests_on = Origin::read;
    change::Line line;
    line.box = "main";
    line.name = "kernel";
    line.before = "3.9";
    line.after = "4.0";
    line.action = change::Action::replace;
    line.bytes = 400'000;
    s.sheet.lines = {line};
    s.sheet.tally.landed = {1, 1, 2};
    s.sheet.tally.total = 2;
    forecast::StateWindow w;
    w.act = "checks";
    w.begins = {0, 1, 2, 3};
    w.lasts = {10, 20, 30, 40};
    w.current_p99_A = 3.25;
    w.hands_on = true;
    s.forecast.states = {w};
    s.forecast.total = {10, 20, 30, 40};
    s.forecast.own_runs = 2;
    s.map.boot_order_known = true;
    cutmap::Moment m;
    m.act = "checks";
    m.cell = 3;
    m.outcomes = {cutmap::Outcome::same_card, cutmap::Outcome::lost};
    s.map.moments = {m};
    return s;
}

TEST(Expected, WhatTheJournalKeepsIsReadAsItWas) {
    const PlanStep s = step();
    const auto e = expected_from(json::serialize(expected_as_json(s)));
    ASSERT_TRUE(e) << e.error().message();
    EXPECT_EQ(e->sheet.rests_on, Origin::read);
    ASSERT_EQ(e->sheet.lines.size(), 1u);
    EXPECT_EQ(e->sheet.lines[0].action, change::Action::replace);
    EXPECT_EQ(e->sheet.bytes, 400'000u);
    EXPECT_EQ(e->sheet.tally.landed.high, 2);
    ASSERT_EQ(e->forecast.states.size(), 1u);
    EXPECT_TRUE(e->forecast.states[0].hands_on);
    EXPECT_EQ(e->forecast.states[0].lasts.p90_s, 30);
    EXPECT_EQ(e->forecast.peak_A, 3.25);
    EXPECT_TRUE(e->map.boot_order_known);
    ASSERT_EQ(e->map.moments.size(), 1u);
    EXPECT_EQ(e->map.moments[0].cell, 3);
    EXPECT_EQ(e->map.moments[0].outcomes, s.map.moments[0].outcomes);
}

TEST(Expected, ATextThatNamesNoListsIsRefusedWithWhereToLook) {
    for (const char* text :
         {"", "[]", "{}", R"({"lines":[],"states":[]})", R"({"lines":[],"states":[],"moments":[7]})"}) {
        const auto e = expected_from(text);
        ASSERT_FALSE(e) << text;
        EXPECT_EQ(e.error().code, "expected-malformed");
        ASSERT_NE(e.error().next.proposal(), nullptr);
        EXPECT_EQ(e.error().next.proposal()->act, Act::show_job);
    }
}

// Not said is not known: a journal without the entry must not give a boot order, and with it a way back.
TEST(Expected, WhatIsNotSaidIsNotKnown) {
    const auto e = expected_from(R"({"lines":[],"states":[],"moments":[{"outcomes":["a new word","lost"]}]})");
    ASSERT_TRUE(e);
    EXPECT_FALSE(e->map.boot_order_known);
    EXPECT_EQ(e->map.moments.at(0).cell, -1);
    EXPECT_EQ(e->map.moments.at(0).outcomes, cutmap::Outcomes{cutmap::Outcome::lost});
}

// C++20 [conv.fpint]: a figure beyond what the whole number holds is no defined number at all.
TEST(Expected, AFigureBeyondAnyCountIsTheMostThatCounts) {
    const auto e = expected_from(R"({"lines":[{"action":1e300,"bytes":1e300},{"action":-7,"bytes":-1}],"states":[],
        "moments":[{"cell":1e18},{"cell":-1e18}],"own_runs":-1e18,"tally":{"landed":[1e12,-1e12,3],"total":1e18}})");
    ASSERT_TRUE(e);
    EXPECT_EQ(e->sheet.lines.at(0).bytes, 1ull << 53);
    EXPECT_EQ(e->sheet.lines.at(0).action, change::Line().action);
    EXPECT_EQ(e->sheet.lines.at(1).bytes, 0u);
    EXPECT_EQ(e->map.moments.at(0).cell, 1'000'000);
    EXPECT_EQ(e->map.moments.at(1).cell, -1'000'000);
    EXPECT_EQ(e->forecast.own_runs, -1'000'000);
    EXPECT_EQ(e->sheet.tally.landed.expected, -1'000'000);
    EXPECT_EQ(e->sheet.tally.total, 1'000'000);
}

// RFC 8259, 6: a number may be written that no double holds; and none may be written as "Infinity".
TEST(Expected, AFigureBeyondEveryNumberIsNotSaid) {
    const auto e = expected_from(
        R"({"lines":[],"states":[{"begins":[1e999,5],"mean_A":1e999,"p99_A":-1e999}],"moments":[],"total":[1e999]})");
    ASSERT_TRUE(e);
    EXPECT_EQ(e->forecast.states.at(0).begins.p10_s, 0);
    EXPECT_EQ(e->forecast.states.at(0).begins.p50_s, 5);
    EXPECT_EQ(e->forecast.states.at(0).current_mean_A, 0);
    EXPECT_EQ(e->forecast.states.at(0).current_p99_A, 0);
    EXPECT_EQ(e->forecast.total.p10_s, 0);
    // Nothing times beyond: the reader of JSON makes it no number at all.
    const auto none = expected_from(R"({"lines":[{"bytes":0e309}],"states":[],"moments":[{"cell":0e309}]})");
    ASSERT_TRUE(none);
    EXPECT_EQ(none->sheet.lines.at(0).bytes, 0u);
    EXPECT_GE(none->map.moments.at(0).cell, -1);
    EXPECT_LE(none->map.moments.at(0).cell, 0);
}

}  // namespace
}  // namespace fettle::plan
