#include "fettle/ready/placard.h"

#include <gtest/gtest.h>

#include <algorithm>

namespace fettle::ready {
namespace {

PlacardFacts facts(std::size_t holds) {
    PlacardFacts f;
    f.job = "0001X";
    f.workshop = "Saltmarsh Bench";
    f.place = "vehicle";
    f.release = "27.3.118";
    f.begun = "14:05";
    f.done_early = "14:31";
    f.done_late = "14:40";
    for (std::size_t i = 0; i < holds; ++i) f.keep.push_back("hold number " + std::to_string(i) + " stays as it is");
    f.hands = {"between 14:12 and 14:17: asks for the knob"};
    f.cautions = {std::string(200, 'a'), std::string(200, 'b')};
    return f;
}
bool holds(const Placard& p, const std::string& text) {
    return std::any_of(p.lines.begin(), p.lines.end(),
                       [&](const PlacardLine& l) { return l.text.find(text) != std::string::npos; });
}

TEST(PlacardPage, ATimeThatIsNotKnownIsNoTime) {
    for (const char* begun : {"", "14:05"}) {
        PlacardFacts f = facts(2);
        f.begun = begun;
        f.done_early = f.done_late = "";
        const Placard p = lay_out(f);
        EXPECT_TRUE(holds(p, "How long it takes is")) << begun;
        EXPECT_FALSE(holds(p, "Done ") || holds(p, "nine in ten") || holds(p, "until then")) << begun;
    }
}

// Whatever is put on it: nothing falls off the page, and no hold and no time is left out.
TEST(PlacardPage, EverythingStandsOnIt) {
    for (std::size_t n = 0; n <= 60; n += 4) {
        const PlacardFacts f = facts(n);
        const Placard p = lay_out(f);
        for (const PlacardLine& l : p.lines) {
            EXPECT_LE(l.y_mm, p.h_mm - 10) << n << l.text;
            const double w = width_mm(l.text, l.size_mm, l.bold);
            EXPECT_LE(l.centred ? p.w_mm / 2 + w / 2 : l.x_mm + w, p.w_mm - 10) << l.text;
        }
        for (std::size_t i = 0; i < n; ++i) EXPECT_TRUE(holds(p, "hold number " + std::to_string(i) + " ")) << i;
        EXPECT_TRUE(holds(p, "until 14:40"));
        EXPECT_TRUE(holds(p, "between 14:12 and 14:17"));
    }
}
TEST(PlacardPage, TheTimeCanBeReadFromThreeMetres) {
    // A letter of 1/200 of the distance is read without effort (common practice, no source): 15 mm at 3 m.
    const Placard p = lay_out(facts(6));
    const auto time =
        std::find_if(p.lines.begin(), p.lines.end(), [](const auto& l) { return l.text == "until 14:40"; });
    ASSERT_NE(time, p.lines.end());
    EXPECT_GE(time->size_mm * 0.72, 15);  // height of a digit
}
TEST(PlacardPage, HostileTextsAreOnlyText) {
    PlacardFacts f = facts(1);
    f.workshop = "<script>&\"\x1b[2J";
    f.keep = {std::string(5000, 'W')};
    const std::string svg = placard_svg(lay_out(f));
    EXPECT_EQ(svg.find("<script"), std::string::npos);
    EXPECT_EQ(svg.find('\x1b'), std::string::npos);
    EXPECT_LT(svg.size(), 20'000u);
}
TEST(PlacardPage, WithoutAStartTheTimeIsWrittenByHand) {
    PlacardFacts f = facts(2);
    f.begun.clear();
    EXPECT_TRUE(holds(lay_out(f), "Begun at"));
}

}  // namespace
}  // namespace fettle::ready
