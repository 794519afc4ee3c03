#include "fettle/ready/touch.h"

#include <gtest/gtest.h>

#include <numeric>

#include "fettle/base/text.h"

namespace fettle::ready {
namespace {

family::Act touch(std::string id, std::string area, std::string shows) {
    family::Act a;
    a.id = std::move(id);
    a.kind = family::ActKind::ask;
    a.box = "main";
    a.words = "asks for a touch";
    a.control = "touch";
    a.area = std::move(area);
    a.shows = std::move(shows);
    a.answers = {{"press", 0, "goes on"}};
    return a;
}
family::Family with(std::vector<family::Act> asks) {
    family::Family f;
    family::Box box;
    box.role = "main";
    box.words = "main box";
    f.boxes.push_back(box);
    f.script = std::move(asks);
    return f;
}
std::string page(const TouchTest& t, bool ascii = true) {
    return join(draw(t, ascii), "\n");
}

TEST(TouchTest, TheGridHasTheNeededAreasAndNothingElse) {
    family::Family f = with({touch("go", "lower right", "Go on?"), touch("done", "upper left", "Done")});
    f.screens = {{"main", 4, 3, {{"lower right", 3, 3, 4, 3}, {"upper left", 1, 1, 1, 1}, {"menu", 2, 2, 2, 2}}}};
    const auto tests = touch_tests(f, {{"touch.upper-left", "answers"}, {"touch.lower-right", "dead"}});
    ASSERT_EQ(tests.size(), 1u);
    EXPECT_EQ(page(tests[0]),
              "    +---------+---------+---------+---------+\n"
              "    |         |         |         |         |\n"
              "    |   2+    |         |         |         |\n"
              "    |         |         |         |         |\n"
              "    +---------+---------+---------+---------+\n"
              "    |         |         |         |         |\n"
              "    |         |         |         |         |\n"
              "    |         |         |         |         |\n"
              "    +---------+---------+---------+---------+\n"
              "    |         |         |         |         |\n"
              "    |         |         |   1x    |   1x    |\n"
              "    |         |         |         |         |\n"
              "    +---------+---------+---------+---------+\n"
              "    1x  lower right: dead — touch.lower-right=dead\n"
              "        needed when it asks for a touch (\"Go on?\")\n"
              "    2+  upper left: answers — touch.upper-left=answers\n"
              "        needed when it asks for a touch (\"Done\")");
}
TEST(TouchTest, OneAreaThatTwoAsksWantIsTouchedOnce) {
    const auto tests = touch_tests(with({touch("a", "left", "A"), touch("b", "left", "B")}), {});
    ASSERT_EQ(tests.at(0).needs.size(), 1u);
    EXPECT_EQ(tests[0].needs[0].wanted_by, "asks for a touch (\"A\"); asks for a touch (\"B\")");
    EXPECT_EQ(tests[0].needs[0].state, "");
}
TEST(TouchTest, WordsPlaceAnAreaWhereNoScreenIsGiven) {
    const auto cells = [](const char* area) {
        const auto t = touch_tests(with({touch("a", area, "")}), {}).at(0);
        const auto& c = t.needs[0].cells;
        return t.needs[0].placed ? std::vector<int>{c.left, c.top, c.right, c.bottom} : std::vector<int>{};
    };
    EXPECT_EQ(cells("lower right"), (std::vector<int>{3, 3, 3, 3}));
    EXPECT_EQ(cells("upper middle"), (std::vector<int>{2, 1, 2, 1}));
    EXPECT_EQ(cells("left"), (std::vector<int>{1, 1, 1, 3}));
    EXPECT_EQ(cells("middle"), (std::vector<int>{2, 2, 2, 2}));
    EXPECT_TRUE(cells("where the bird is").empty());
    const auto t = touch_tests(with({touch("a", "where the bird is", "")}), {}).at(0);
    EXPECT_NE(page(t).find("nothing says where"), std::string::npos);
}
TEST(TouchTest, NoTouchNoTest) {
    family::Act knob = touch("k", "", "");
    knob.control = "knob";
    EXPECT_TRUE(touch_tests(with({knob}), {}).empty());
}
// Any grid that a family file may give fits a terminal of 80 columns.
TEST(TouchTest, EveryGridFits80Columns) {
    for (int columns = 1; columns <= 24; ++columns) {
        family::Family f = with({touch("a", "spot", "")});
        f.screens = {{"main", columns, 16, {{"spot", columns, 16, columns, 16}}}};
        for (const std::string& line : draw(touch_tests(f, {}).at(0), true)) EXPECT_LE(line.size(), 80u) << columns;
    }
}

}  // namespace
}  // namespace fettle::ready
