#include "fettle/watch/work.h"

#include <gtest/gtest.h>

namespace fettle::watch {
namespace {

// Story 17: 8 of 40 pieces and 80 of 1,600 MiB after 60 s, 2.5 s a piece: 60 − 8 × 2.5 = 40 s for 80 MiB. By count it
// would be 300 s, by bytes 1,200 s.
TEST(Work, NeitherCountNorBytesAloneIsThePace) {
    const auto w = learn_rate(8, 80u << 20, 40, 1600u << 20, 2.5, 60);
    ASSERT_TRUE(w);
    EXPECT_NEAR(w->rate_bytes_s / (1 << 20), 2, 1e-12);
    EXPECT_NEAR(w->total_s, 900, 1e-9);
}

TEST(Work, WhatTheFiguresCannotSayIsNotSaid) {
    EXPECT_FALSE(learn_rate(0, 0, 40, 100, 2.5, 60));
    EXPECT_FALSE(learn_rate(8, 80, 40, 100, 10, 60));  // the overhead alone takes longer
    EXPECT_FALSE(learn_rate(8, 80, 40, 100, 2.5, 20));
}

}  // namespace
}  // namespace fettle::watch
