#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <sstream>

#include "fettle/base/source_path.h"
#include "fettle/family/family.h"

namespace fettle::family {
namespace {

// The example family, its knob made a touch, with what is given put at its end.
std::string with(const std::string& screen, const std::string& area = "lower right") {
    std::ifstream in(source_path("families/dunnock.toml"));
    std::stringstream all;
    all << in.rdbuf();
    std::string text = all.str();
    const std::string knob = "control = \"knob\"\nanswers = [ { how = \"turn\"";
    const auto at = text.find(knob);
    EXPECT_NE(at, std::string::npos);
    text.replace(at, knob.size(), "control = \"touch\"\narea = \"" + area + "\"\nanswers = [ { how = \"press\"");
    return text + "\n" + screen;
}
bool mistaken(const Loaded& l, const std::string& key, const std::string& words) {
    return std::any_of(l.mistakes.begin(), l.mistakes.end(), [&](const Finding& m) {
        return m.key == key && m.problem.find(words) != std::string::npos && m.line > 1;
    });
}
const std::string kScreen = "[[screen]]\nbox = \"display\"\ncolumns = 6\nrows = 4\n";

TEST(Touch, AScreenWithItsAreas) {
    const Loaded l =
        load_family_text(with(kScreen + "[[screen.area]]\nname = \"lower right\"\nfrom = [5, 4]\nto = [6, 4]\n"));
    ASSERT_TRUE(l.mistakes.empty()) << l.mistakes.front().key << l.mistakes.front().problem;
    ASSERT_EQ(l.family.screens.size(), 1u);
    EXPECT_EQ(l.family.screens[0].columns, 6);
    EXPECT_EQ(l.family.screens[0].areas.at(0).left, 5);
    EXPECT_EQ(l.family.screens[0].areas.at(0).bottom, 4);
}
TEST(Touch, WithoutAScreenItIsListedAsOpen) {
    const Loaded l = load_family_text(with(""));
    EXPECT_TRUE(l.mistakes.empty());
    EXPECT_TRUE(std::any_of(l.unknowns.begin(), l.unknowns.end(), [](const Finding& u) { return u.key == "screen"; }));
}
TEST(Touch, EveryMistakeIsNamedAtItsPlace) {
    const std::string area = "[[screen.area]]\nname = \"lower right\"\n";
    EXPECT_TRUE(mistaken(load_family_text(with(kScreen + area + "from = [5, 4]\nto = [7, 4]\n")), "screen[1].area[1]",
                         "6 columns"));
    EXPECT_TRUE(
        mistaken(load_family_text(with(kScreen + area + "from = [0, 4]\nto = [6, 4]\n")), "screen[1].area[1]", "0,4"));
    EXPECT_TRUE(mistaken(load_family_text(with(kScreen + area + "from = [5]\nto = [6, 4]\n")), "screen[1].area[1].from",
                         "1 numbers"));
    EXPECT_TRUE(mistaken(load_family_text(with(kScreen)), "act[9].area", "has no area"));
    EXPECT_TRUE(mistaken(load_family_text(with(kScreen + kScreen)), "screen[2].box", "stands twice"));
    EXPECT_TRUE(mistaken(load_family_text(with("[[screen]]\nbox = \"amp\"\ncolumns = 2\nrows = 2\n")), "screen[1].box",
                         "the boxes are"));
    EXPECT_TRUE(mistaken(load_family_text(with("[[screen]]\nbox = \"main\"\ncolumns = 99\nrows = 2\n")),
                         "screen[1].columns", ""));
}
TEST(Touch, AHoldIsSeenByWhatThereIs) {
    const auto hold = [](const std::string& by) {
        return load_family_text(with("[[hold]]\nid = \"lamp\"\nwords = \"lamp stays off\"\nseen_by = [" + by + "]\n"));
    };
    EXPECT_EQ(hold("\"voltage\", \"bus\"").family.holds.back().seen_by.size(), 2u);
    EXPECT_FALSE(hold("\"smell\"").mistakes.empty());
}
TEST(Touch, AnAskForACardSaysWhichOne) {
    std::string text = with("");
    const std::string touch = "control = \"touch\"\narea = \"lower right\"";
    const auto at = text.find(touch);
    text.replace(at, touch.size(), "control = \"card\"\ncard = 2");
    Loaded l = load_family_text(text);
    EXPECT_TRUE(l.mistakes.empty());
    EXPECT_EQ(l.family.act("asks")->card, 2);
    text.replace(text.find("card = 2"), 8, "card = 1");
    EXPECT_FALSE(load_family_text(text).mistakes.empty());
}

}  // namespace
}  // namespace fettle::family
