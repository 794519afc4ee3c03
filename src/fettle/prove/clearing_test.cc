#include "fettle/prove/clearing.h"

#include <gtest/gtest.h>

namespace fettle::prove {
namespace {

Attributed entry(const char* box, const char* code, std::optional<std::uint8_t> status, Kind kind, bool may) {
    return {{box, code, status}, kind, "so it is", "", may};
}

// The rule of docs/faults.md, by hand. Status bits of ISO 14229-1, D.2: 28 confirmed and failed since it was cleared,
// 50 only "not tested", 2F failing now.
TEST(ToClear, TakesOnlyWhatIsExplainedInThatBox) {
    Faults f;
    f.entries = {entry("main", "B1A4F-13", 0x28, Kind::explained, true),
                 entry("main", "U0164-00", 0x28, Kind::partner, false),
                 entry("main", "P0135", 0x2F, Kind::active, false),
                 entry("main", "P0136", 0x50, Kind::not_tested, false),
                 entry("main", "P0137", std::nullopt, Kind::explained, true),  // typed without a status: not known
                 entry("main", "P0138", 0x28, Kind::gone, false),
                 entry("display", "B1A4F-13", 0x28, Kind::explained, true)};
    const ToClear c = to_clear(f, "main");
    EXPECT_EQ(c.codes, std::vector<std::string>{"B1A4F-13"});
    EXPECT_EQ(c.others, (std::vector<std::string>{"U0164-00", "P0135"}));
    ASSERT_EQ(c.staying.size(), 2u);
    EXPECT_EQ(c.staying[1].text, "P0135 stays: so it is");
}

TEST(ToClear, AllMayGoOnlyWhenEachOtherIsSignedFor) {
    ToClear c;
    c.codes = {"B1A4F-13"};
    EXPECT_FALSE(others_may_go(c, {"B1A4F-13"}));  // nothing stands beside it
    c.others = {"U0164-00", "P0135"};
    EXPECT_FALSE(others_may_go(c, {}));
    EXPECT_FALSE(others_may_go(c, {"U0164-00"}));
    EXPECT_TRUE(others_may_go(c, {"P0135", "U0164-00"}));
}

}  // namespace
}  // namespace fettle::prove
