#include "fettle/card/audit_test_help.h"

namespace fettle::card {
namespace {

TEST_F(AuditTest, AGoodCardIsGood) {
    for (const bool with_release : {false, true}) {
        const auto a = of(p.contents, with_release);
        EXPECT_EQ(codes(a), "card-good") << a.sentence;
        EXPECT_EQ(a.verdict(), Verdict::fit);
        EXPECT_EQ(a.files_matched, 6u);
        EXPECT_EQ(a.files_wanted, 6u);
        EXPECT_EQ(a.release, "27.3.118");
        EXPECT_EQ(a.file_system, "FAT32");
        EXPECT_EQ(a.table, "mbr");
        EXPECT_EQ(a.label, "DUNNOCK");
    }
    EXPECT_EQ(of(p.contents).sentence,
              "The card is good: release 27.3.118, 6 of 6 files are what the card's own signed index names.");
}

// Story 29. The folder's name and whether a release was named change nothing.
TEST_F(AuditTest, OneFolderTooDeep) {
    for (const std::string folder : {"release 27.3.118", "DUNNOCK", "a"})
        for (const bool with_release : {false, true}) {
            const auto a = of(below(folder + "/", p.contents), with_release);
            EXPECT_EQ(codes(a), "one-folder-too-deep");
            EXPECT_EQ(a.verdict(), Verdict::halt);
            EXPECT_EQ(a.sentence,
                      "The whole release sits under one extra folder, '" + folder +
                          "'; the box looks for 'release.json' at the top of the card. Lay the card again from "
                          "the release.");
            EXPECT_EQ(a.files_matched, 6u);  // the files themselves are right
        }
    EXPECT_NE(of(below("a/b/", p.contents)).sentence.find("more than one extra folder, 'a/b'"), std::string::npos);
}

// Story 30.
TEST_F(AuditTest, ArchiveCopiedUnopened) {
    Bytes zip = test::noise(1, 3000);
    std::copy_n("PK\x03\x04", 4, zip.begin());
    for (const std::string name : {"dunnock-27.3.118.zip", "download", "a/b.bin"})
        for (const bool with_release : {false, true}) {
            const auto a = of({{name, zip}}, with_release);
            ASSERT_NE(find(a, "archive-unopened"), nullptr) << codes(a);
            EXPECT_EQ(a.sentence.substr(0, a.sentence.find(" (", 60)),
                      "'" + name +
                          "' is an archive (zip) that was copied unopened; the box looks for 'release.json' at the "
                          "top of the card. Lay the card from the release.");
            EXPECT_EQ(find(a, "index-missing"), nullptr);
            EXPECT_EQ(find(a, "file-missing"), nullptr);
        }
}

// Story 32, first half: same size, one byte changed.
TEST_F(AuditTest, OneByteWrongNamesThePiece) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    for (std::size_t i = 2; i < p.contents.size(); ++i) {
        const auto& f = card.laid.files[i];
        for (const std::uint64_t at :
             {f.extent.at, f.extent.at + f.extent.length / 2, f.extent.at + f.extent.length - 1}) {
            card.device.bytes[at] ^= 1;
            const auto a = run(card.device, i % 2);
            EXPECT_EQ(codes(a), "file-differs");
            const auto* r = find(a, "file-differs");
            EXPECT_EQ(r->where, f.path);
            EXPECT_NE(r->text.find(fmt::format("piece 'part-{}' of the main box", i - 2)), std::string::npos);
            ASSERT_EQ(a.differing.size(), 1u);
            EXPECT_EQ(a.differing[0].wanted, f.sha256);               // what the index says
            EXPECT_EQ(a.sentence.find(f.sha256), std::string::npos);  // for programs and pages, not on top
            EXPECT_EQ(a.files_matched, 5u);
            card.device.bytes[at] ^= 1;
        }
    }
    // The slack behind a file is nobody's.
    card.device.bytes[card.laid.files[2].extent.at + card.laid.files[2].extent.length] ^= 1;
    EXPECT_EQ(codes(run(card.device)), "card-good");
}

TEST_F(AuditTest, ATamperedIndexOrSignatureIsNoticed) {
    auto c = p.contents;
    const std::string text = as_text(c[0].second);
    const auto at = text.find("26.4.102");
    c[0].second[at + 1] = '5';  // still reads as an index
    EXPECT_EQ(codes(of(c)), "signature-wrong");
    EXPECT_NE(find(of(c, true), "file-differs"), nullptr);
    c = p.contents;
    c[1].second[5] ^= 1;
    EXPECT_EQ(codes(of(c)), "signature-wrong");
    c.erase(c.begin() + 1);
    EXPECT_EQ(codes(of(c)), "signature-missing");
    c = p.contents;
    c[0].second.resize(40);
    EXPECT_NE(find(of(c), "index-unreadable"), nullptr);
}

TEST_F(AuditTest, MissingShortAndForeignFilesInOnePass) {
    auto c = p.contents;
    c.erase(c.begin() + 3);
    c[2].second.pop_back();
    c.emplace_back("holiday.jpg", Bytes(10));
    c.emplace_back("pieces/extra.bin", Bytes(10));
    const auto a = of(c, true);
    EXPECT_EQ(codes(a), "file-size-differs file-missing foreign-file foreign-file");
    EXPECT_EQ(find(a, "file-missing")->where, "pieces/System part 1.bin");
    EXPECT_EQ(a.verdict(), Verdict::halt);
    EXPECT_NE(a.sentence.find("(3 more findings below)"), std::string::npos);
}

// Story 34.
TEST_F(AuditTest, DesktopLeftoversByTheFamilysStrictness) {
    const std::pair<const char*, const char*> names[] = {{"System Volume Information/IndexerVolumeGuid", "Windows"},
                                                         {".Spotlight-V100/store", "macOS"},
                                                         {"._release.json", "macOS"},
                                                         {".Trash-1000/info/x", "a Linux desktop"}};
    for (const auto& [name, whose] : names) {
        auto c = p.contents;
        c.emplace_back(name, Bytes(10));
        p.family.card->foreign = "tolerated";
        auto a = of(c);
        EXPECT_EQ(codes(a), "desktop-leftover");
        EXPECT_EQ(a.verdict(), Verdict::mind);
        EXPECT_NE(a.sentence.find(whose), std::string::npos);
        p.family.card->foreign = "refused";
        a = of(c);
        EXPECT_EQ(codes(a), "desktop-leftover");
        EXPECT_EQ(a.verdict(), Verdict::halt);
    }
    auto c = p.contents;
    c.emplace_back("notes.txt", Bytes(1));
    EXPECT_EQ(of(c).verdict(), Verdict::halt);
    p.family.card->foreign = "tolerated";
    EXPECT_EQ(of(c).verdict(), Verdict::mind);
}

TEST_F(AuditTest, AnotherReleaseIsSaidOnceAndNotPieceByPiece) {
    const auto other = test::package("27.1.110");
    const auto a = of(other.contents, true);
    EXPECT_EQ(codes(a), "other-release");
    EXPECT_EQ(a.sentence, "The card holds release 27.1.110, wanted is 27.3.118, which is newer. Lay the right one.");
    p.family.id = "brill";
    EXPECT_NE(find(of(p.contents), "other-family"), nullptr);
}

TEST_F(AuditTest, TwoReleasesMixed) {
    const auto other = test::package("27.1.110");
    auto c = p.contents;
    c[3] = other.contents[3];
    AuditRequest r;
    r.family = &p.family;
    r.others = {&other.release, &p.release};
    auto card = test::lay_in_memory(c, *p.family.card);
    const auto a = *audit(card.device, r);
    EXPECT_EQ(codes(a), "file-differs releases-mixed");
    EXPECT_EQ(a.sentence,
              "Two releases are mixed on this card: 'pieces/System part 1.bin' is of release 27.1.110, the index is of "
              "27.3.118. Lay the card again from the release that is wanted. (1 more finding below)");
    // One of another size is told by its digest too.
    c[3].second = other.contents[5].second;
    auto longer = test::lay_in_memory(c, *p.family.card);
    EXPECT_EQ(codes(*audit(longer.device, r)), "file-size-differs releases-mixed");
    // One of a size that no other release has is not read to be told wrong.
    c[3].second.push_back(0);
    auto odd = test::lay_in_memory(c, *p.family.card);
    const auto not_read = *audit(odd.device, r);
    EXPECT_EQ(codes(not_read), "file-size-differs");
    std::uint64_t others = 0;
    for (std::size_t i = 2; i < c.size(); ++i) others += i == 3 ? 0 : c[i].second.size();
    EXPECT_EQ(not_read.bytes_read, others);
    c[3].second.pop_back();
    // What no release has is only wrong.
    c[3].second[0] ^= 1;
    auto spoiled = test::lay_in_memory(c, *p.family.card);
    EXPECT_EQ(codes(*audit(spoiled.device, r)), "file-size-differs");
}

TEST_F(AuditTest, ASecondIndexIsSeen) {
    auto c = p.contents;
    c.emplace_back("old/release.json", test::package("26.4.102").contents[0].second);
    const auto a = of(c);
    EXPECT_EQ(codes(a), "second-index foreign-file");
    EXPECT_EQ(find(a, "second-index")->where, "old/release.json");
    c.back().second = p.contents[0].second;  // the same release's: a leftover, no contradiction
    EXPECT_EQ(codes(of(c)), "foreign-file");
}

TEST_F(AuditTest, AStaleReleaseIsSaidUnlessItWasAskedFor) {
    const auto old = test::package("27.1.110");
    auto card = test::lay_in_memory(old.contents, *p.family.card);
    const auto a = run(card.device);
    EXPECT_EQ(codes(a), "stale-release");
    EXPECT_EQ(a.verdict(), Verdict::mind);
    AuditRequest r;
    r.family = &p.family;
    r.release = &old.release;
    EXPECT_EQ(codes(*audit(card.device, r)), "card-good");
    r.release = nullptr;
    p.family.newest_release.clear();
    EXPECT_EQ(codes(*audit(card.device, r)), "card-good");
    r.others = {&p.release};  // newer, on the shelf
    EXPECT_EQ(codes(*audit(card.device, r)), "stale-release");
}

TEST_F(AuditTest, SecondCopiesByTheirNames) {
    for (const std::string copy : {"release (1).json", "release(2).json", "release - Copy.json", "release copy.json",
                                   "release copy 2.json", "Copy of release.json"}) {
        auto c = p.contents;
        c[0].first = copy;
        auto a = of(c);
        ASSERT_NE(find(a, "copy-name"), nullptr) << copy << ": " << codes(a);
        EXPECT_EQ(a.verdict(), Verdict::halt);
        EXPECT_EQ(find(a, "index-missing"), nullptr);
        c = p.contents;
        c.emplace_back(copy, p.contents[0].second);
        a = of(c);
        EXPECT_EQ(codes(a), "copy-name") << copy;
        EXPECT_EQ(a.verdict(), Verdict::mind);
    }
    auto c = p.contents;
    for (auto& f : c)
        if (f.first.starts_with("pieces/")) f.first = "pieces (1)/" + f.first.substr(7);
    EXPECT_NE(find(of(c, true), "copy-name"), nullptr);
    c = p.contents;
    c.emplace_back("maps.bin.crdownload", Bytes(10));
    EXPECT_EQ(codes(of(c)), "download-unfinished");
    for (const char* own :
         {"release.json", "System part 1.bin", "a (b).bin", "copy", "(1).bin", "x 12.bin", "v(2024).bin"})
        EXPECT_EQ(without_copy_marks(own), own);
}

// A file that FAT cannot hold, and one whose last byte is the last that it can.
TEST_F(AuditTest, TheFourGibBorder) {
    p.family.card->cluster_kib = {32};
    const std::uint64_t size = 0xFFFFFFFF;
    auto& piece = p.release.pieces[0].files[0];
    std::vector<FileToPlace> places{{"release.json", p.contents[0].second.size()}, {piece.path, size}};
    const auto g = plan_geometry(std::uint64_t{8} << 30, *p.family.card);
    ASSERT_TRUE(g);
    const auto l = make_layout(places, *p.family.card, *g, std::string(64, 'a'));
    ASSERT_TRUE(l);
    test::SparseDevice device(std::uint64_t{8} << 30, true);
    ASSERT_TRUE(device.write_at(0, l->table));
    ASSERT_TRUE(device.write_at(g->partition_start * 512, l->boot));
    for (const std::uint32_t copy : {0u, 1u}) {
        Bytes fat((l->next_free * 4 + 511) / 512 * 512);
        fill_fat(*l, 0, fat);
        ASSERT_TRUE(device.write_at(g->fat_start(copy) * 512, fat));
    }
    ASSERT_TRUE(device.write_at(g->data_start() * 512, l->folders));
    AuditRequest r;
    r.family = &p.family;
    p.release.pieces.resize(1);
    piece.digests = {{"none", ""}};  // 4 GiB of zeros need not be digested for this
    for (const std::uint64_t wanted : {size, size + 1}) {
        piece.size = wanted;
        r.release = &p.release;
        const auto a = *audit(device, r);
        const auto* found = find(a, "file-at-4-gib");
        ASSERT_NE(found, nullptr) << codes(a);
        EXPECT_EQ(found->verdict, wanted == size ? Verdict::mind : Verdict::halt);
    }
}

TEST_F(AuditTest, EveryFindingIsListedNotOnlyTheFirstOfItsKind) {
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    const auto& g = card.laid.geometry;
    for (std::size_t i = 2; i < 6; ++i) {
        const auto first = (card.laid.files[i].extent.at / 512 - g.data_start()) / g.sectors_per_cluster + 2;
        for (const std::uint32_t copy : {0u, 1u})
            store_le32(card.device.bytes, g.fat_start(copy) * 512 + first * 4, static_cast<std::uint32_t>(first));
    }
    const auto a = run(card.device);
    EXPECT_EQ(std::count_if(a.judgement.reasons.begin(), a.judgement.reasons.end(),
                            [](const Reason& r) { return r.code == "chain-circular"; }),
              4);
}

// A folder that names one file twice: a reader finds the first only.
TEST_F(AuditTest, ANameThatStandsTwice) {
    auto card = test::lay_in_memory({{"AAA.BIN", Bytes(5)}, {"BBB.BIN", Bytes(5)}}, *p.family.card);
    const std::size_t root = card.laid.geometry.data_start() * 512 + 32;  // behind the label
    ASSERT_EQ(card.device.bytes[root + 32], 'B');
    std::copy_n(card.device.bytes.begin() + static_cast<std::ptrdiff_t>(root), 11,
                card.device.bytes.begin() + static_cast<std::ptrdiff_t>(root + 32));
    EXPECT_NE(find(run(card.device), "name-twice"), nullptr);
}

TEST_F(AuditTest, AnEmptyCardLacksTheIndex) {
    const auto a = of({});
    EXPECT_EQ(codes(a), "index-missing");
    EXPECT_EQ(a.sentence,
              "The box looks for 'release.json' on the card, and it is not there, nor is anything else of a release. "
              "Lay the card from the release.");
}

TEST_F(AuditTest, WrongCaseIsMind) {
    auto c = p.contents;
    c[0].first = "RELEASE.JSON";
    const auto a = of(c);
    EXPECT_EQ(codes(a), "wrong-case");
    EXPECT_EQ(a.verdict(), Verdict::mind);
}

}  // namespace
}  // namespace fettle::card
