// A release over several cards: each laid, each with its own digest, and each told from the others.
#include <gtest/gtest.h>

#include <set>

#include "fettle/card/test_cards.h"
#include "fettle/family/cards.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t mib = 1u << 20;

using test::codes;

struct CardsTest : testing::Test {
    test::Package make() {
        test::Package made = test::package("27.3.118", 6, mib);
        made.family.card->in_turn = {4, 3 * mib, true};  // room for two files a card
        return made;
    }
    test::Package p = make();

    // What belongs on that card, index and signature first where they stand there.
    std::vector<test::Content> contents(unsigned n) {
        const auto split = family::split_release(p.family, p.release);
        EXPECT_TRUE(split);
        const auto paths = family::paths_on_card(p.release, *split, n);
        const std::set<std::string> here(paths.begin(), paths.end());
        std::vector<test::Content> out;
        for (std::size_t i = 0; i < p.contents.size(); ++i)
            if (i < 2 ? n == 1 || p.family.card->in_turn.index_on_every : here.contains(p.contents[i].first))
                out.push_back(p.contents[i]);
        return out;
    }
    test::Card laid(unsigned n) {
        test::Card c{MemoryDevice(Bytes(test::small_card), true), {}};
        const auto g = plan_geometry(test::small_card, *p.family.card);
        auto l = lay(test::sources(contents(n)), *p.family.card, *g, p.release.index_sha256, c.device, {}, n);
        if (!l) throw std::runtime_error(l.error().message());
        c.laid = std::move(*l);
        return c;
    }
    Audit look(BlockDevice& d, bool with_release, unsigned asked = 0) {
        AuditRequest r;
        r.family = &p.family;
        r.release = with_release ? &p.release : nullptr;
        r.card = asked;
        auto a = audit(d, r);
        if (!a) throw std::runtime_error(a.error().message());
        return *a;
    }
};

TEST_F(CardsTest, EachIsGoodAndKnownByWhatStandsOnIt) {
    std::set<std::string> digests, serials;
    for (unsigned n = 1; n <= 3; ++n) {
        auto card = laid(n);
        for (const bool with_release : {false, true}) {
            const Audit a = look(card.device, with_release);
            EXPECT_EQ(codes(a), "card-good") << a.sentence;
            EXPECT_EQ(a.card, n);
            EXPECT_EQ(a.cards, 3u);
            EXPECT_EQ(a.files_wanted, 3u);
            EXPECT_EQ(a.files_matched, 3u);
            EXPECT_NE(a.sentence.find("card " + std::to_string(n) + " of 3"), std::string::npos) << a.sentence;
            serials.insert(a.serial);
        }
        digests.insert(card.laid.digest);
        EXPECT_EQ(test::digest_of_extents(card.laid, card.device), card.laid.digest);
    }
    EXPECT_EQ(digests.size(), 3u);
    EXPECT_EQ(serials.size(), 3u);
}

TEST_F(CardsTest, AnotherCardThanTheOneAskedForIsSaidToBeIt) {
    auto card = laid(2);
    EXPECT_EQ(codes(look(card.device, true, 2)), "card-good");
    const Audit a = look(card.device, true, 3);
    EXPECT_EQ(codes(a), "other-card");
    EXPECT_EQ(a.verdict(), Verdict::halt);
    EXPECT_EQ(a.card, 2u);
    const Audit beyond = look(card.device, true, 4);
    EXPECT_EQ(codes(beyond), "other-card");
    EXPECT_NE(beyond.sentence.find("takes 3 cards; there is no card 4"), std::string::npos) << beyond.sentence;
    p.family.card->in_turn = {};
    const auto only = test::lay_in_memory(p.contents, *p.family.card);
    MemoryDevice device(only.device.bytes);
    EXPECT_EQ(codes(look(device, true, 1)), "card-good");
    const Audit one = look(device, true, 2);
    EXPECT_EQ(codes(one), "other-card");
    EXPECT_NE(one.sentence.find("takes one card"), std::string::npos) << one.sentence;
}

TEST_F(CardsTest, WhatIsMissingIsMissingOnItsOwnCardOnly) {
    auto missing = contents(2);
    missing.pop_back();
    p.family.card->in_turn.most = 4;
    const auto card = test::lay_in_memory(missing, *p.family.card);
    MemoryDevice device(card.device.bytes);
    const Audit a = look(device, true);
    EXPECT_EQ(codes(a), "file-missing");
    EXPECT_EQ(a.card, 2u);
}

TEST_F(CardsTest, TheIndexMayStandOnTheFirstAlone) {
    p.family.card->in_turn.index_on_every = false;
    auto first = laid(1), second = laid(2);
    EXPECT_EQ(codes(look(first.device, false)), "card-good");
    EXPECT_EQ(codes(look(first.device, true)), "card-good");
    const Audit a = look(second.device, true);
    EXPECT_EQ(codes(a), "card-good") << a.sentence;
    EXPECT_EQ(a.card, 2u);
    EXPECT_EQ(a.files_wanted, 2u);
    // Without the release nobody can say what should stand there.
    EXPECT_EQ(look(second.device, false).verdict(), Verdict::cant_say);
    EXPECT_NE(codes(look(second.device, false)).find("which-card-unknown"), std::string::npos);
}

TEST_F(CardsTest, AllOnOneCardWhereTheBoxTakesSeveralIsForeignToIt) {
    const auto card = test::lay_in_memory(p.contents, *p.family.card);
    MemoryDevice device(card.device.bytes);
    const Audit a = look(device, true);
    EXPECT_EQ(a.card, 1u);
    EXPECT_EQ(codes(a), "foreign-file");
    EXPECT_EQ(a.verdict(), Verdict::mind);
}

TEST_F(CardsTest, MoreCardsThanARunTakes) {
    p.family.card->in_turn.most = 2;
    const auto card = test::lay_in_memory(p.contents, *p.family.card);
    MemoryDevice device(card.device.bytes);
    const Audit a = look(device, true);
    EXPECT_EQ(codes(a), "too-many-cards");
    EXPECT_EQ(a.cards, 0u);
}

}  // namespace
}  // namespace fettle::card
