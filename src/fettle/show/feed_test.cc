#include "fettle/show/feed.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"

namespace fettle::show {
namespace {

const ShowAct none = [](const Proposal&) { return std::string(); };

TEST(ShowFeed, ASeriesIsCountedAndABenchSupplyNamed) {
    workshop::SupplyRead read;
    read.kept = {{"supply.measured_v", "13.2"}};
    read.readings = 3;
    read.measured_A = 3.25;
    const Answer series = supply_read(read);
    EXPECT_NE(series.text.text(none).find("3.25 A at most in 3 readings"), std::string::npos);
    EXPECT_EQ(series.data.at("readings"), 3);
    EXPECT_EQ(series.data.if_contains("supply"), nullptr);
    read.maker_and_model = "Saltmarsh Bench Feeder 30";
    const Answer bench = supply_read(read);
    EXPECT_NE(bench.text.text(none).find("3.25 A are drawn from it now"), std::string::npos);
    EXPECT_EQ(bench.data.at("supply"), "Saltmarsh Bench Feeder 30");
    EXPECT_EQ(bench.data.if_contains("readings"), nullptr);
}

TEST(ShowFeed, WithoutAFigureItDoesNotSayThatItWasRead) {
    const Answer a = supply_read({});
    EXPECT_EQ(a.headline, "The supply gave no figure.");
    EXPECT_EQ(a.data.at("answers"), json::object());
    EXPECT_EQ(a.data.if_contains("measured_a"), nullptr);
}

TEST(ShowFeed, AGuardCountsWhatItHadAndWhatItHadNot) {
    workshop::Guarded g;
    g.readings = 20;
    g.troubles = 2;
    g.breaches = {{"support", "voltage", "9.4 V at the supply", 0}};
    EXPECT_EQ(guarded(g).headline, "20 readings, 2 more not to be had; 1 hold seen broken.");
    g.breaches.clear();
    EXPECT_EQ(guarded(g).headline, "20 readings, 2 more not to be had; 0 holds seen broken.");
}

}  // namespace
}  // namespace fettle::show
