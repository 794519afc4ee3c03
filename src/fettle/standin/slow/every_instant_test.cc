// The power-cut map against the stand-in at every second of whole runs of all three example families, with one cut; and
// with two cuts, the second anywhere in what goes on after the first.
#include <gtest/gtest.h>

#include <set>
#include <string>
#include <string_view>

#include "../map_test_help.h"

namespace fettle::standin {
namespace {

using namespace testing;

struct Case {
    const char *family, *from, *to;
    std::uint64_t nature;
};

std::ostream& operator<<(std::ostream& out, const Case& c) {
    return out << c.family << " " << c.from << " to " << c.to;
}

class EveryInstant : public ::testing::TestWithParam<Case> {};

TEST_P(EveryInstant, OneCut) {
    const auto [family, from, to, nature] = GetParam();
    auto& b = bench(family);
    const PlannedStep step(b, b.family, from, to, 1);
    int instants = 0;
    const auto seen = hold_one_cut(step, b.started(from, to, nature), 1, &instants);
    EXPECT_GT(instants, 300);
    EXPECT_GE(seen.size(), 5u);
    std::printf("    %s %s to %s: %d instants, one cut\n", family, from, to, instants);
}

TEST_P(EveryInstant, TwoCuts) {
    const auto [family, from, to, nature] = GetParam();
    auto& b = bench(family);
    const PlannedStep step(b, b.family, from, to, 2);
    int instants = 0;
    const auto seen = hold_two_cuts(step, b.started(from, to, nature), 1.7, 2.3, &instants);
    EXPECT_GT(instants, 10000);
    // The acts of the first cut after which a run goes on at all. Brill has one store: its recovery takes the card up
    // while the system is written, and its planned restart goes on by itself; after every other cut it rests.
    std::set<std::string> acts;
    for (const auto& [act, fates] : seen) acts.insert(act);
    if (std::string_view(family) == "brill") {
        EXPECT_EQ(acts, (std::set<std::string>{"dark-1", "system"}));
    } else {
        EXPECT_GE(acts.size(), 4u);
    }
    std::printf("    %s %s to %s: %d pairs of instants, two cuts\n", family, from, to, instants);
}

INSTANTIATE_TEST_SUITE_P(
    Runs, EveryInstant,
    ::testing::Values(Case{"dunnock", "26.1.090", "26.4.102", 11}, Case{"dunnock", "26.4.102", "27.1.110", 12},
                      Case{"dunnock", "27.1.110", "27.3.118", 13}, Case{"dunnock", "26.4.102", "27.3.118", 15},
                      Case{"brill", "26.2.040", "26.4.088", 21}, Case{"brill", "26.4.088", "27.2.031", 22},
                      Case{"brill", "26.2.040", "27.2.031", 23}, Case{"pelm", "26.3.017", "27.1.052", 31},
                      Case{"pelm", "27.1.052", "27.2.064", 32}, Case{"pelm", "26.3.017", "27.2.064", 33}));

}  // namespace
}  // namespace fettle::standin
