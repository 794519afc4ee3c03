// A few hundred rounds of the rude box by grammar, always the same; thousands of others are in slow/.
#include <gtest/gtest.h>
#include <sys/resource.h>

#include "grammar_box_test_help.h"

namespace fettle::link {
namespace {

TEST(GrammarBox, WhateverItDoesNothingIsClaimedThatItDidNotSay) {
    const auto folder = std::filesystem::path(::testing::TempDir()) / "fettle-grammar-box";
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder);
    testing::Counted n;
    for (std::uint64_t seed = 1; seed <= 200; ++seed) ASSERT_EQ(testing::one_round(seed, folder, n), "") << seed;
    // It has come to every end, else it has tried nothing.
    EXPECT_GT(n.opened, 150);
    EXPECT_GT(n.prepared, 40);
    EXPECT_GT(n.cleared, 20);
    EXPECT_GT(n.refused, 5);
    EXPECT_GT(n.unknown, 0);
    std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace fettle::link
