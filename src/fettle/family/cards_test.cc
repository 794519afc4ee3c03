#include "fettle/family/cards.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <numeric>

namespace fettle::family {
namespace {

constexpr std::uint64_t mib = 1u << 20;

CardRule rule(unsigned most, std::uint64_t each_bytes, std::vector<std::uint32_t> cluster_kib = {}) {
    CardRule r;
    r.in_turn = {most, each_bytes, true};
    r.cluster_kib = std::move(cluster_kib);
    return r;
}

TEST(CardSplit, OneCardTakesAllWhereTheFamilySaysNothingElse) {
    EXPECT_EQ(split_over_cards({5 * mib, 900 * mib}, CardRule{}), (CardSplit{1, {1, 1}}));
}

// Reckoned by hand: 16 MiB leave 15 MiB; clusters of 32 KiB.
TEST(CardSplit, FillsEachCardInTurn) {
    EXPECT_EQ(split_over_cards({7 * mib, 8 * mib, 1, 14 * mib, mib - (32 << 10)}, rule(9, 16 * mib)),
              (CardSplit{2, {1, 1, 2, 2, 2}}));
    EXPECT_EQ(split_over_cards({7 * mib, 8 * mib + 1}, rule(9, 16 * mib)), (CardSplit{2, {1, 2}}));
    EXPECT_EQ(split_over_cards({}, rule(9, 16 * mib)), (CardSplit{1, {}}));
    // Clusters of 4 KiB at most: a file of one byte takes less.
    EXPECT_EQ(split_over_cards({15 * mib - 4096, 1}, rule(9, 16 * mib, {1, 4})), (CardSplit{1, {1, 1}}));
    EXPECT_EQ(split_over_cards({15 * mib - 4096, 1}, rule(9, 16 * mib, {4, 8})), (CardSplit{2, {1, 2}}));
}

TEST(CardSplit, RefusesWhatNoRunCanTake) {
    EXPECT_EQ(split_over_cards({14 * mib, 14 * mib, 14 * mib}, rule(2, 16 * mib)).error().code, "too-many-cards");
    EXPECT_EQ(split_over_cards({16 * mib}, rule(9, 16 * mib)).error().code, "file-larger-than-card");
    EXPECT_EQ(split_over_cards({~std::uint64_t{0}}, rule(9, 16 * mib)).error().code, "file-larger-than-card");
}

TEST(CardSplit, GoesByTheReleasesFilesInTheirOrder) {
    Family f;
    f.card = rule(3, 16 * mib);
    Release r;
    r.pieces.push_back({"a", "main", "system", "1", {{"a1", 9 * mib, {}, true}, {"a2", 9 * mib, {}, true}}, {}});
    r.pieces.push_back({"b", "main", "system", "1", {{"b", 2 * mib, {}, true}}, {}});
    const auto split = split_release(f, r);
    ASSERT_TRUE(split);
    EXPECT_EQ(split->cards, 2u);
    EXPECT_EQ(paths_on_card(r, *split, 1), std::vector<std::string>{"a1"});
    EXPECT_EQ(paths_on_card(r, *split, 2), (std::vector<std::string>{"a2", "b"}));
    r.pieces[1].files[0].sized = false;
    EXPECT_EQ(split_release(f, r).error().code, "sizes-not-known");
    f.card->in_turn = {};
    EXPECT_EQ(split_release(f, r)->cards, 1u);
}

// Every file on one card, the cards in order, none above its room, and none that could have taken the next file.
RC_GTEST_PROP(CardSplit, IsFullAndInOrder, ()) {
    const auto sizes = *rc::gen::container<std::vector<std::uint64_t>>(rc::gen::inRange<std::uint64_t>(0, 6 * mib));
    const auto split = split_over_cards(sizes, rule(9, 16 * mib, {4}));
    if (!split) {
        RC_ASSERT(split.error().code == "too-many-cards");
        RC_ASSERT(std::accumulate(sizes.begin(), sizes.end(), std::uint64_t{0}) > 9 * 8 * mib);
        return;
    }
    RC_ASSERT(split->card_of.size() == sizes.size());
    std::vector<std::uint64_t> used(split->cards + 2);
    unsigned card = 1;
    for (std::size_t i = 0; i < sizes.size(); ++i) {
        const std::uint64_t takes = (sizes[i] + 4095) / 4096 * 4096;
        RC_ASSERT(split->card_of[i] == card || split->card_of[i] == card + 1);
        if (split->card_of[i] > card) {
            RC_ASSERT(used[card] + takes > 15 * mib);
            ++card;
        }
        used[card] += takes;
        RC_ASSERT(used[card] <= 15 * mib);
    }
    RC_ASSERT(card == split->cards);
}

}  // namespace
}  // namespace fettle::family
