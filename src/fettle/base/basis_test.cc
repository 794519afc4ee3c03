#include "fettle/base/basis.h"

#include <gtest/gtest.h>

#include "fettle/base/verdict.h"

namespace fettle {
namespace {

using Kind = Basis::Kind;

TEST(Basis, KnowsTheKindsThatDecideSomething) {
    EXPECT_EQ(Basis("guess").kind(), Kind::guess);
    EXPECT_EQ(Basis("common practice").kind(), Kind::common_practice);
    EXPECT_EQ(Basis("maker's paper").kind(), Kind::makers_paper);
    EXPECT_EQ(Basis("family file").kind(), Kind::family_file);
    EXPECT_EQ(Basis("measured 12").kind(), Kind::measured);
    EXPECT_EQ(Basis("measured 12").runs(), 12);
    EXPECT_EQ(Basis::measured(3), Basis("measured 3"));
    EXPECT_EQ(Basis("check character").kind(), Kind::evidence);
    EXPECT_EQ(Basis().kind(), Kind::evidence);
}

TEST(Basis, AGuessInAnyPartMakesTheWholeOne) {
    EXPECT_TRUE(Basis("guess (odds of look-alikes)").is_guess());
    EXPECT_TRUE(Basis("family file; guess").is_guess());
    EXPECT_TRUE(Basis("measured 4; guess").is_guess());
    EXPECT_FALSE(Basis("no guessing").is_guess());
}

TEST(Basis, WhatIsNoCountOfRunsMeasuredNothing) {
    for (const char* words :
         {"measured", "measured ", "measured 0", "measured -3", "measured 4x", "measured 99999999999"})
        EXPECT_EQ(Basis(words).runs(), 0) << words;
    EXPECT_EQ(Basis("measured 256 writes").runs(), 256);
}

TEST(Judgement, AReasonThatRestsOnAGuessInPartIsNeverBetterThanMind) {
    Judgement j;
    j.add({"x", Verdict::fit, "Fits.", "", "family file; guess"});
    EXPECT_EQ(j.verdict(), Verdict::mind);
}

}  // namespace
}  // namespace fettle
