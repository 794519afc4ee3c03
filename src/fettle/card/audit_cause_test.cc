// What is said first, and what speaks for the medium and not for its content.
#include <fmt/core.h>

#include "fettle/card/audit_test_help.h"
#include "fettle/card/exfat.h"

namespace fettle::card {
namespace {

Reason of(const char* code, Verdict v = Verdict::halt) {
    return {code, v, std::string("This is ") + code + ".", "", "a test"};
}

TEST(Sentence, NamesTheCauseOfTheOthers) {
    Judgement j;
    for (const char* code : {"file-differs", "lost-clusters", "chain-crossed", "signature-wrong"}) j.add(of(code));
    EXPECT_EQ(sentence_of(j), "The card's file system is damaged: This is chain-crossed. (3 more findings below)");
    j.add(of("zeros-from"));
    EXPECT_EQ(sentence_of(j), "This is zeros-from. (4 more findings below)");
    j.add(of("card-other-market"));
    EXPECT_EQ(sentence_of(j), "This is zeros-from. (5 more findings below)");
    Judgement other;
    for (const char* code : {"wrong-file-system", "file-differs", "other-family"}) other.add(of(code));
    EXPECT_EQ(sentence_of(other), "This is other-family. (2 more findings below)");
    // What is good is no further finding.
    Judgement one;
    one.add(of("card-good", Verdict::fit));
    one.add(of("stale-release", Verdict::mind));
    EXPECT_EQ(sentence_of(one), "This is stale-release.");
}

class CauseTest : public AuditTest {};

// A card that drops what is written behind a place: its files end in zeros there.
TEST_F(CauseTest, ZerosFromOnePlaceOnSuggestTheGauge) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    const auto& second_last = card.laid.files[card.laid.files.size() - 2].extent;
    const std::size_t from = second_last.at + 1000;
    std::fill(card.device.bytes.begin() + static_cast<std::ptrdiff_t>(from), card.device.bytes.end(), Byte{0});
    const auto a = run(card.device);
    EXPECT_EQ(codes(a), "file-differs file-differs zeros-from");
    EXPECT_EQ(a.sentence.find("From byte 1000 of 'pieces/System part 3.bin' on everything"), 0u) << a.sentence;
    ASSERT_NE(find(a, "zeros-from")->next.proposal(), nullptr);
    EXPECT_EQ(find(a, "zeros-from")->next.proposal()->act, Act::gauge_card);
    // One hole in the middle is no end of the card.
    auto holed = test::lay_in_memory(p.contents, *p.family.card);
    const auto& hole = holed.laid.files[4].extent;
    std::fill_n(holed.device.bytes.begin() + static_cast<std::ptrdiff_t>(hole.at), hole.length, Byte{0});
    EXPECT_EQ(codes(run(holed.device)), "file-differs");
}

// A card that begins again behind N bytes gives its own first sector at N.
TEST_F(CauseTest, AWrapSuggestsTheGauge) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    const auto& last = card.laid.files.back().extent;
    FaultyDevice::Plan plan;
    plan.wraps_at = last.at + 1024;
    FaultyDevice wrapping(card.device, plan);
    const auto a = run(wrapping);
    EXPECT_NE(find(a, "begins-again"), nullptr) << codes(a);
    EXPECT_EQ(a.sentence.find("In 'pieces/System part 4.bin' the card's own first sector stands again"), 0u);
    // The same bytes in a file that is right are its own.
    auto c = p.contents;
    c.push_back({"copy of a card.bin", Bytes(card.device.bytes.begin(), card.device.bytes.begin() + 512)});
    EXPECT_EQ(codes(of(c)), "foreign-file");
}

// The shelf has a good copy: nobody is sent for the release again.
TEST_F(CauseTest, AReleaseThatIsOnTheShelfIsLaidAgain) {
    auto c = p.contents;
    c[0].second[c[0].second.size() - 3] ^= 1;  // within the last piece's digest
    auto card = test::lay_in_memory(c, *p.family.card);
    const auto alone = run(card.device);
    ASSERT_NE(find(alone, "signature-wrong"), nullptr) << codes(alone);
    EXPECT_NE(find(alone, "signature-wrong")->text.find("Get the release again"), std::string::npos);
    AuditRequest r;
    r.family = &p.family;
    r.others = {&p.release};
    const auto shelved = *audit(card.device, r);
    EXPECT_EQ(find(shelved, "signature-wrong")->text.find("Get the release"), std::string::npos);
    EXPECT_EQ(shelved.sentence.find("Get the release"), std::string::npos);
}

TEST_F(CauseTest, TheSameNumberForAnotherMarketStops) {
    p.release.markets = {"MD"};
    const auto a = of(p.contents, true);
    EXPECT_EQ(codes(a), "other-market");
    EXPECT_EQ(a.markets, std::vector<std::string>{"NS"});
    EXPECT_EQ(a.family, "dunnock");
}

TEST_F(CauseTest, AListThatEndsInMoreIsWholeForPrograms) {
    auto c = p.contents;
    for (int i = 0; i < 10; ++i) c.push_back({fmt::format("note {}.txt", i), Bytes{1}});
    const auto a = of(c);
    ASSERT_EQ(a.lists.size(), 1u);
    EXPECT_EQ(a.lists[0].code, "foreign-file");
    EXPECT_EQ(a.lists[0].names.size(), 10u);
}

// What the family tolerates is held against the limits that it states, not against what a family file has by default.
TEST_F(CauseTest, AToleratedFileIsNotJudgedByDefaults) {
    auto c = p.contents;
    c.push_back({"a/" + std::string(60, 'x') + "/" + std::string(66, 'y') + "/" + std::string(127, 'z'), Bytes{1}});
    const std::uint32_t stated = p.family.card->longest_path;  // 120
    p.family.card->longest_path = 1000;                        // so that it can be laid at all
    auto card = test::lay_in_memory(c, *p.family.card);
    p.family.card->longest_path = stated;
    EXPECT_EQ(codes(run(card.device)), "path-too-long-on-card foreign-file");
    p.family.card->longest_path = family::CardRule{}.longest_path;
    EXPECT_EQ(codes(run(card.device)), "foreign-file");
    p.family.card->foreign = "refused";
    EXPECT_EQ(codes(run(card.device)), "path-too-long-on-card foreign-file");
}

// Marks, bits and places that some readers look at and others do not.
TEST_F(CauseTest, WhatSomeReadersLookAtIsNamed) {
    const auto good = test::lay_in_memory(p.contents, *p.family.card);
    const std::size_t volume = good.laid.geometry.partition_start * 512, top = good.laid.geometry.data_start() * 512;
    const auto after = [&](const std::function<void(Bytes&)>& spoil) {
        MemoryDevice d(good.device.bytes);
        spoil(d.bytes);
        return codes(run(d));
    };
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 511] = 0; }), "boot-mark-missing");
    EXPECT_EQ(after([](Bytes& b) { b[510] = 0; }), "boot-mark-missing");
    // Attribute of a long name's piece, a reserved bit set: mtools does not take it for one.
    EXPECT_EQ(after([&](Bytes& b) {
                  std::size_t at = top;
                  while (b[at + 11] != 0x0F) at += 32;
                  b[at + 11] |= 0x80;
              }),
              "entry-set-damaged");
    // A FAT entry of a free cluster that leads nowhere: mtools refuses the card for it.
    EXPECT_EQ(after([&](Bytes& b) {
                  for (const std::uint32_t copy : {0u, 1u})
                      store_le32(b, good.laid.geometry.fat_start(copy) * 512 + 60000 * 4, 1);
              }),
              "fsinfo-wrong clusters-broken lost-clusters");
    // LDIR_Type is not 0: of no consequence to those tried.
    EXPECT_EQ(after([&](Bytes& b) {
                  std::size_t at = top;
                  while (b[at + 11] != 0x0F) at += 32;
                  b[at + 12] = 1;
              }),
              "name-damaged");
    // An entry behind the end of the top folder.
    EXPECT_EQ(after([&](Bytes& b) {
                  std::size_t at = top;
                  while (b[at] != 0) at += 32;
                  std::copy_n(b.begin() + static_cast<std::ptrdiff_t>(top), 32,
                              b.begin() + static_cast<std::ptrdiff_t>(at + 32));
              }),
              "folder-damaged");
    const auto verdict = [&](const char* code) {
        MemoryDevice d(good.device.bytes);
        std::copy_n(d.bytes.begin() + 446, 16, d.bytes.begin() + 478);
        std::fill_n(d.bytes.begin() + 446, 16, Byte{0});
        return find(run(d), code)->verdict;
    };
    EXPECT_EQ(verdict("partition-not-first"), Verdict::mind);
    p.family.card->foreign = "refused";
    EXPECT_EQ(verdict("partition-not-first"), Verdict::halt);
}

// exFAT specification 3.1: NumberOfFats, ActiveFat, MustBeZero, FileSystemRevision.
TEST_F(CauseTest, WhichFatOfExfatCounts) {
    p.family.card->file_system = "exfat";
    const auto good = test::lay_in_memory(p.contents, *p.family.card, 36u << 20);
    const std::size_t volume = good.laid.geometry.partition_start * 512;
    const auto after = [&](const std::function<void(Bytes&, std::size_t)>& spoil) {
        MemoryDevice d(good.device.bytes);
        for (const std::size_t region : {volume, volume + 12 * 512}) {
            spoil(d.bytes, region);
            const std::uint32_t sum = exfat::boot_sum(ByteView(d.bytes).subspan(region, 11 * 512));
            for (std::size_t i = 0; i < 512; i += 4) store_le32(d.bytes, region + 11 * 512 + i, sum);
        }
        return codes(run(d));
    };
    EXPECT_EQ(after([](Bytes&, std::size_t) {}), "card-good");
    EXPECT_EQ(after([](Bytes& b, std::size_t at) { b[at + 106] |= 1; }), "active-fat-wrong");
    EXPECT_EQ(after([](Bytes& b, std::size_t at) { b[at + 20] = 1; }), "boot-sector-wrong");
    EXPECT_EQ(after([](Bytes& b, std::size_t at) { b[at + 105] = 2; }), "boot-sector-wrong");
    // Two FATs, one behind the other, of as many clusters as they have room for before the first cluster.
    const auto two = [&](Byte flags, bool equal) {
        return after([&](Bytes& b, std::size_t at) {
            const std::uint32_t fat = load_le32(b, at + 80), length = (load_le32(b, at + 88) - fat) / 2;
            store_le32(b, at + 84, length);
            store_le32(b, at + 92, std::min(load_le32(b, at + 92), length * 128 - 2));
            b[at + 110] = 2;
            b[at + 106] = static_cast<Byte>(b[at + 106] | flags);
            if (at != volume) return;
            const auto from = b.begin() + static_cast<std::ptrdiff_t>(volume + fat * 512);
            std::copy_n(from, length * 512, from + length * 512);
            if (!equal) b[volume + (fat + length) * 512 + 40] ^= 1;
        });
    };
    EXPECT_NE(two(0, true).find("exfat-second-fat"), std::string::npos) << two(0, true);
    EXPECT_NE(two(0, false).find("fats-differ"), std::string::npos) << two(0, false);
    EXPECT_NE(two(1, false).find("first-fat-stale"), std::string::npos) << two(1, false);
}

}  // namespace
}  // namespace fettle::card
