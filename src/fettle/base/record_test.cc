#include "fettle/base/record.h"

#include <gtest/gtest.h>

#include <set>

namespace fettle {
namespace {

// The words stand in journals: each is read back as what it was written for, and no other word is.
TEST(Record, MendKindsAreReadAsTheyAreWritten) {
    std::set<std::string_view> seen;
    for (const MendKind k : {MendKind::wait, MendKind::same_card, MendKind::laid_again_card, MendKind::recovery_card,
                             MendKind::power_off_and_on, MendKind::other_supply, MendKind::hand_over}) {
        EXPECT_TRUE(seen.insert(code(k)).second) << code(k);
        EXPECT_EQ(mend_kind_named(code(k)), k);
    }
    EXPECT_EQ(code(MendKind::laid_again_card), "laid-again card");  // as docs/journal.md and older journals have it
    for (const char* other : {"", "Wait", "same-card", "card"}) EXPECT_FALSE(mend_kind_named(other)) << other;
}

TEST(Record, WhatCameIsReadAsItIsWritten) {
    for (const Came c : {Came::done, Came::nothing, Came::better, Came::worse, Came::begun_again})
        EXPECT_EQ(came_named(code(c)), c);
    EXPECT_EQ(code(Came::begun_again), "begun again");
    for (const char* other : {"", "good", "begun"}) EXPECT_FALSE(came_named(other)) << other;
}

TEST(Record, AnOpenRunHasNoWord) {
    EXPECT_EQ(code(RunState::open), "");
    EXPECT_EQ(code(RunState::ended), "ended");
    EXPECT_EQ(code(RunState::broken_off), "broken off");
}

}  // namespace
}  // namespace fettle
