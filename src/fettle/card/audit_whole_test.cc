// The card as a whole: file system, table, structure, reading; archives by their first bytes.
#include "fettle/card/audit_test_help.h"

namespace fettle::card {
namespace {

TEST(ArchiveKind, ByFirstBytes) {
    const auto kind = [](std::size_t at, std::string_view magic) {
        Bytes head(512);
        std::copy(magic.begin(), magic.end(), head.begin() + static_cast<std::ptrdiff_t>(at));
        return archive_kind(head);
    };
    EXPECT_EQ(kind(0, "PK\x03\x04"), "zip");
    EXPECT_EQ(kind(0, "7z\xBC\xAF\x27\x1C"), "7z");
    EXPECT_EQ(kind(257, "ustar"), "tar");
    EXPECT_EQ(kind(0, "\x1F\x8B"), "gzip");
    EXPECT_EQ(kind(0, "\x28\xB5\x2F\xFD"), "zstd");
    EXPECT_EQ(kind(0, "PK"), "");
    EXPECT_EQ(archive_kind({}), "");
}

// Story 26, and other file systems by their magic.
TEST_F(AuditTest, WrongFileSystem) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    const std::size_t at = card.laid.geometry.partition_start * 512;
    std::copy_n("EXFAT   ", 8, card.device.bytes.begin() + static_cast<std::ptrdiff_t>(at + 3));
    auto a = run(card.device, true);
    EXPECT_EQ(codes(a), "wrong-file-system boot-sector-wrong");
    EXPECT_EQ(
        a.sentence,
        "The card carries exFAT; dunnock takes FAT32 only. Lay the card again, or take a smaller card that comes with "
        "FAT32. (1 more finding below)");
    std::copy_n("NTFS    ", 8, card.device.bytes.begin() + static_cast<std::ptrdiff_t>(at + 3));
    EXPECT_NE(run(card.device).sentence.find("NTFS"), std::string::npos);
    p.family.card->max_bytes = 32u << 20;
    EXPECT_EQ(codes(run(card.device)), "card-too-large wrong-file-system");
    std::fill_n(card.device.bytes.begin() + static_cast<std::ptrdiff_t>(at), 512, Byte{0});
    EXPECT_NE(find(run(card.device), "no-file-system"), nullptr);
    // Without a family it is not known whether NTFS is wrong.
    std::copy_n("NTFS    ", 8, card.device.bytes.begin() + static_cast<std::ptrdiff_t>(at + 3));
    const auto unknown = audit(card.device);
    EXPECT_EQ(codes(*unknown), "file-system-not-read");
    EXPECT_EQ(unknown->verdict(), Verdict::cant_say);
}

TEST_F(AuditTest, WithoutAFamilyItCantSay) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    const auto a = audit(card.device);
    EXPECT_EQ(codes(*a), "family-not-named");
    EXPECT_EQ(a->verdict(), Verdict::cant_say);
    EXPECT_FALSE(a->not_checked.empty());
    // What any reader would stumble on is found all the same.
    card.device.bytes[card.laid.geometry.fat_start(0) * 512 + 40] ^= 1;
    EXPECT_NE(find(*audit(card.device), "fats-differ"), nullptr);
}

TEST_F(AuditTest, StructuralFindings) {
    const auto good = test::lay_in_memory(p.contents, *p.family.card);
    const auto& g = good.laid.geometry;
    const std::size_t volume = g.partition_start * 512;
    const auto after = [&](const std::function<void(Bytes&)>& spoil) {
        MemoryDevice d(good.device.bytes);
        spoil(d.bytes);
        return codes(run(d));
    };
    EXPECT_EQ(after([](Bytes&) {}), "card-good");
    EXPECT_EQ(after([](Bytes& b) { b[446 + 4] = 0x07; }), "partition-type-byte");
    EXPECT_EQ(after([&](Bytes& b) { b.erase(b.begin(), b.begin() + static_cast<std::ptrdiff_t>(volume)); }),
              "no-partition-table");
    EXPECT_EQ(after([](Bytes& b) { std::copy_n(b.begin() + 446, 16, b.begin() + 462); }), "second-partition");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 512 + 488] ^= 1; }), "fsinfo-wrong");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 512] ^= 1; }), "fsinfo-wrong");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 6 * 512 + 3] ^= 1; }), "backup-boot-differs");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 65] |= 1; }), "dirty-flag");
    const auto both_fats = [&](Bytes& b, std::uint32_t cluster, std::uint32_t v) {
        for (const std::uint32_t copy : {0u, 1u}) store_le32(b, g.fat_start(copy) * 512 + cluster * 4, v);
    };
    EXPECT_EQ(after([&](Bytes& b) { both_fats(b, 1, 0x07FFFFFF); }), "dirty-flag");
    EXPECT_EQ(after([&](Bytes& b) { both_fats(b, 1, 0x0BFFFFFF); }), "hard-error-flag");
    EXPECT_EQ(after([&](Bytes& b) { both_fats(b, 60000, 0x0FFFFFFF); }), "fsinfo-wrong lost-clusters");
    EXPECT_EQ(after([&](Bytes& b) { store_le32(b, g.fat_start(1) * 512 + 40, 0); }), "fats-differ");
    EXPECT_EQ(after([&](Bytes& b) { b.resize(b.size() - 512); }), "card-cut-short");
    EXPECT_EQ(after([](Bytes& b) {
                  std::copy_n(b.begin() + 446, 16, b.begin() + 478);
                  std::fill_n(b.begin() + 446, 16, Byte{0});
              }),
              "partition-not-first");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 512 + 511] = 0; }), "fsinfo-wrong");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 13] = 3; }), "boot-sector-wrong");
    const auto last =
        static_cast<std::uint32_t>((good.laid.files[6].extent.at / 512 - g.data_start()) / g.sectors_per_cluster + 2);
    const std::string broken = after([&](Bytes& b) { both_fats(b, last, 0x0FFFFFFF); });
    EXPECT_EQ(broken, "chain-short lost-clusters file-broken-on-card");
    EXPECT_EQ(after([&](Bytes& b) { both_fats(b, last, last); }), "chain-circular lost-clusters file-broken-on-card");
    EXPECT_EQ(after([&](Bytes& b) { b.resize(good.laid.files[6].extent.at + 100); }),
              "card-cut-short data-past-end file-broken-on-card");
}

// What common readers read differently; each by the FAT specification 1.03, "Boot Sector and BPB".
TEST_F(AuditTest, WhatReadersDifferOn) {
    const auto good = test::lay_in_memory(p.contents, *p.family.card);
    const auto& g = good.laid.geometry;
    const std::size_t volume = g.partition_start * 512, backup = volume + 6 * 512;
    const auto after = [&](const std::function<void(Bytes&)>& spoil) {
        MemoryDevice d(good.device.bytes);
        spoil(d.bytes);
        return codes(run(d));
    };
    const auto both = [&](Bytes& b, std::size_t at, Byte v) { b[volume + at] = b[backup + at] = v; };
    // BPB_ExtFlags: bit 7, only one copy is kept up; bits 0 to 3, which.
    EXPECT_EQ(after([&](Bytes& b) { both(b, 40, 0x80); }), "mirroring-off");
    EXPECT_EQ(after([&](Bytes& b) { both(b, 40, 0x81); }), "mirroring-off");
    EXPECT_EQ(after([&](Bytes& b) { both(b, 40, 0x82); }), "active-fat-wrong");
    const auto stale = [&](std::uint32_t copy, Byte flags) {
        return after([&, copy, flags](Bytes& b) {
            both(b, 40, flags);
            store_le32(b, g.fat_start(copy) * 512 + 4 * 60000, 0x0FFFFFFF);
        });
    };
    EXPECT_EQ(stale(0, 0x81), "first-fat-stale");
    EXPECT_EQ(stale(1, 0x80), "mirroring-off");  // everybody who goes by the first reads the same
    EXPECT_EQ(after([&](Bytes& b) { both(b, 42, 1); }), "fat-version");
    EXPECT_EQ(after([&](Bytes& b) { both(b, 43, 1); }), "fat-version");
    EXPECT_EQ(after([&](Bytes& b) { both(b, 49, 0x40); }), "fsinfo-wrong");  // behind the reserved sectors
    // A second label entry, in the first free entry of the top folder.
    EXPECT_EQ(after([&](Bytes& b) {
                  std::size_t at = g.data_start() * 512;
                  std::size_t first = at;
                  while (b[at] != 0) at += 32;
                  std::copy_n(b.begin() + static_cast<std::ptrdiff_t>(first), 32,
                              b.begin() + static_cast<std::ptrdiff_t>(at));
              }),
              "second-label");
}

TEST_F(AuditTest, GptWhereMbrIsWanted) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    auto& b = card.device.bytes;
    const std::uint64_t start = card.laid.geometry.partition_start;
    b[446 + 4] = 0xEE;
    std::copy_n("EFI PART", 8, b.begin() + 512);
    store_le64(b, 512 + 72, 2);
    store_le32(b, 512 + 80, 4);
    store_le32(b, 512 + 84, 128);
    b[1024] = 1;
    store_le64(b, 1024 + 32, start);
    store_le64(b, 1024 + 40, start + card.laid.geometry.partition_sectors - 1);
    // No sums, no backup: it says so too.
    EXPECT_EQ(codes(run(card.device)), "gpt-table gpt-header-wrong gpt-backup-wrong");
    EXPECT_EQ(run(card.device).verdict(), Verdict::halt);
    EXPECT_EQ(find(*audit(card.device), "gpt-table")->verdict, Verdict::mind);
}

TEST_F(AuditTest, ClusterSizesTheFamilyDoesNotTake) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    p.family.card->cluster_kib = {4, 8};
    EXPECT_EQ(codes(run(card.device)), "cluster-size-not-taken");
}

TEST_F(AuditTest, NeverWritesAndReadsEachFileOnce) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    FaultyDevice device(card.device, {});
    const auto a = run(device);
    EXPECT_TRUE(device.writes().empty());
    std::uint64_t bytes = 0;
    for (std::size_t i = 2; i < p.contents.size(); ++i) bytes += p.contents[i].second.size();
    EXPECT_EQ(a.bytes_read, bytes);  // the index is held by its signature
}

TEST_F(AuditTest, AnUnreadablePlaceIsAFindingNotAnError) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    FaultyDevice::Plan plan;
    plan.fail_read_at = card.laid.files[4].extent.at;
    FaultyDevice device(card.device, plan);
    EXPECT_EQ(codes(run(device)), "file-unreadable-on-card");
    plan.fail_read_at = 100;
    FaultyDevice dead(card.device, plan);
    EXPECT_EQ(audit(dead).error().code, "device-read-failed");
}

TEST_F(AuditTest, ProgressEndsAtTheTotal) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    std::uint64_t last = 0, total = 1;
    AuditRequest r;
    r.family = &p.family;
    r.progress = [&](std::uint64_t done, std::uint64_t all) {
        EXPECT_GE(done, last);
        last = done;
        total = all;
    };
    ASSERT_TRUE(audit(card.device, r));
    EXPECT_EQ(last, total);
}

TEST_F(AuditTest, AWeakDigestIsSaidToBeOne) {  // story 32, second half
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    for (auto& piece : p.release.pieces)
        for (std::size_t i = 0; i < piece.files.size(); ++i)
            for (const auto& c : p.contents)
                if (c.first == piece.files[i].path)
                    piece.files[i].digests = {{"crc32", *digest_hex("crc32", c.second)}};
    EXPECT_EQ(codes(run(card.device, true)), "weak-digest");
    p.release.pieces[0].files[0].digests.clear();
    const auto a = run(card.device, true);
    EXPECT_NE(find(a, "file-not-digested"), nullptr);
    EXPECT_EQ(a.verdict(), Verdict::cant_say);
}

}  // namespace
}  // namespace fettle::card
