#include "fettle/show/touch.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

std::string by_name(const Proposal& act) {
    return "<" + std::string(name_of(act.act)) + ">";
}

workshop::Touched screen_with(std::vector<std::string> states) {
    workshop::Touched t;
    t.job = "0001X";
    ready::TouchTest screen;
    screen.words = "main box";
    screen.columns = screen.rows = 3;
    int n = 0;
    for (std::string& state : states) {
        ++n;
        screen.needs.push_back(
            {n, "area " + std::to_string(n), "touch.area", "asks for a touch", std::move(state), {"", n, 1, n, 1}});
    }
    t.screens.push_back(std::move(screen));
    return t;
}

TEST(ShowTouch, TheFirstLineSaysTheWorst) {
    EXPECT_EQ(touched(screen_with({"answers", "", "dead"}), true).headline,
              "1 of the areas that will be asked for is dead.");
    EXPECT_EQ(touched(screen_with({"answers", "", ""}), true).headline, "2 areas are still to try: touch it now.");
    EXPECT_EQ(touched(screen_with({"answers"}), true).headline, "Every area that will be asked for answers.");
    workshop::Touched none;
    EXPECT_EQ(touched(none, true).headline, "Nothing on a screen need be touched in this family's script.");
    none.script_known = false;  // which is not that nothing is asked for
    EXPECT_EQ(touched(none, true).headline, "Can't say which areas of a screen will be asked for.");
}

TEST(ShowTouch, ADeadAreaComesWithWhereTheOtherWayInIsSaid) {
    EXPECT_NE(touched(screen_with({"dead"}), true).text.text(by_name).find("<check-ready>"), std::string::npos);
    EXPECT_EQ(touched(screen_with({"answers", ""}), true).text.text(by_name).find("<check-ready>"), std::string::npos);
}

TEST(ShowTouch, WhatWasNotTriedIsSaidSoInTheDocument) {
    const json::object data = touched(screen_with({"", "answers"}), true).data;
    const json::array& needs = data.at("screens").at(0).at("needs").as_array();
    EXPECT_EQ(needs[0].at("state"), "not-tried");
    EXPECT_EQ(needs[1].at("state"), "answers");
    EXPECT_EQ(needs[1].at("from"), json::array({2, 1}));
}

}  // namespace
}  // namespace fettle::show
