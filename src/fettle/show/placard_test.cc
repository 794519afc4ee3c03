#include "fettle/show/placard.h"

#include <gtest/gtest.h>

namespace fettle::show {
namespace {

const ShowAct none = [](const Proposal&) { return std::string(); };

TEST(ShowPlacard, UntilWhenIsSaidOnlyOfARunWithAForecast) {
    workshop::PlacardFor p;
    p.facts.done_early = "14:31";
    p.facts.done_late = "14:40";
    const Answer before = placard_written(p, "placard.pdf");
    EXPECT_NE(before.text.text(none).find("No run is open"), std::string::npos);
    EXPECT_EQ(before.text.text(none).find("14:40"), std::string::npos);
    p.run_open = true;
    EXPECT_NE(placard_written(p, "placard.pdf").text.text(none).find("until 14:40 (nine in ten), 14:31 (half)"),
              std::string::npos);
    p.facts.done_early = p.facts.done_late = "";
    const Answer unknown = placard_written(p, "placard.pdf");
    EXPECT_NE(unknown.text.text(none).find("Until when can't be said"), std::string::npos);
    EXPECT_EQ(unknown.data.at("done_late"), "not known");
    EXPECT_EQ(unknown.data.at("done_early"), "not known");
}

}  // namespace
}  // namespace fettle::show
