// The rungs as docs/family-file.md names them; the meaning of each is the project's own, so the checks are the
// sentences of that page.
#include "fettle/family/level.h"

#include <gtest/gtest.h>

#include "fettle/base/source_path.h"

namespace fettle::family {
namespace {

TEST(Level, ExampleFamiliesBearOutWhatTheyClaim) {
    for (const char* name : {"dunnock", "brill", "pelm"}) {
        const auto f = load_family(source_path(std::string("families/") + name + ".toml"));
        ASSERT_TRUE(f) << f.error().message();
        EXPECT_EQ("L" + std::to_string(level_of(*f).level), f->level) << name;
    }
}

TEST(Level, EachRungTakenAwayStopsTheClimbBelowIt) {
    const auto whole = load_family(source_path("families/brill.toml"));
    ASSERT_TRUE(whole);
    Family f = *whole;
    f.boot.clear();
    EXPECT_EQ(level_of(f).level, 4);
    EXPECT_FALSE(level_of(f).rungs[4].there);
    for (Act& a : f.script)
        if (a.seconds) a.seconds->source = "measured 8";
    EXPECT_EQ(level_of(f).level, 3);
    f.script.clear();
    EXPECT_EQ(level_of(f).level, 2);
    f.card.reset();
    EXPECT_EQ(level_of(f).level, 1);
    f.package.reset();
    EXPECT_EQ(level_of(f).level, 0);
    f.boot = whole->boot;  // a boot order without anything else proves no climb
    EXPECT_EQ(level_of(f).level, 0);
    EXPECT_TRUE(level_of(f).rungs[4].there);
}

TEST(Level, FewerThanNineRunsAreNotL4) {
    const Loaded claimed = load_family_text(R"([family]
id = "wren"
marque = "Vellmoor"
words = "Wren"
level = "L4"
)");
    int named = 0;
    for (const Finding& m : claimed.mistakes) named += m.problem.find("claims L4") != std::string::npos;
    EXPECT_EQ(named, 4);  // package, card, acts, times
}

}  // namespace
}  // namespace fettle::family
