#include "fettle/card/reader.h"

#include <gtest/gtest.h>

#include <functional>

#include "fettle/card/test_cards.h"

namespace fettle::card {
namespace {

using test::Content;

// A FAT12 volume of few clusters, made by hand: 512-byte sectors and clusters, one reserved sector, one FAT sector, 16
// root entries (one sector), data from sector 3.
struct Small {
    static constexpr std::uint32_t clusters = 8;
    Bytes bytes = Bytes((3 + clusters) * 512);

    Small() {
        const ByteSpan b(bytes);
        b[0] = 0xEB, b[1] = 0x3C, b[2] = 0x90;
        store_le16(b, 11, 512);
        b[13] = 1;
        store_le16(b, 14, 1);
        b[16] = 1;
        store_le16(b, 17, 16);
        store_le16(b, 19, 3 + clusters);
        b[21] = 0xF8;
        store_le16(b, 22, 1);
        b[510] = 0x55, b[511] = 0xAA;
        set_fat(0, 0xFF8), set_fat(1, 0xFFF);
    }
    void set_fat(std::uint32_t cluster, std::uint32_t v) {
        const std::size_t at = 512 + cluster + cluster / 2;
        const std::uint16_t old = load_le16(bytes, at);
        store_le16(bytes, at,
                   static_cast<std::uint16_t>(cluster % 2 ? (old & 0x000F) | (v << 4) : (old & 0xF000) | (v & 0xFFF)));
    }
    void entry(std::size_t index, const char* eleven, Byte attributes, std::uint16_t first, std::uint32_t size,
               std::size_t at = 1024) {
        const ByteSpan e = ByteSpan(bytes).subspan(at + index * 32, 32);
        std::copy_n(eleven, 11, e.begin());
        e[11] = attributes;
        store_le16(e, 26, first);
        store_le32(e, 28, size);
    }
    Listing list() {
        MemoryDevice d(bytes);
        auto v = Volume::open(d);
        if (!v) throw std::runtime_error(v.error().message());
        return *v->list(true);
    }
};

std::vector<FlawKind> kinds(const Listing& l) {
    std::vector<FlawKind> out;
    for (const auto& f : l.flaws) out.push_back(f.kind);
    return out;
}

TEST(Reader, ReadsASmallFat12) {
    Small s;
    s.entry(0, "LABEL      ", 0x08, 0, 0);
    s.entry(1, "A       TXT", 0x20, 3, 700);
    s.set_fat(3, 5), s.set_fat(5, 0xFFF);
    s.bytes[(3 + 1) * 512] = 'x';
    s.bytes[(3 + 3) * 512 + 187] = 'y';
    MemoryDevice d(s.bytes);
    auto v = Volume::open(d);
    ASSERT_TRUE(v);
    EXPECT_EQ(v->type(), FatType::fat12);
    const auto l = v->list(true);
    EXPECT_EQ(l->label, "LABEL");
    ASSERT_EQ(l->nodes.size(), 1u);
    EXPECT_EQ(l->nodes[0].path, "A.TXT");
    EXPECT_EQ(l->clusters_free, 6u);
    const auto content = v->read_all(l->nodes[0], 1000);
    ASSERT_EQ(content->size(), 700u);
    EXPECT_EQ((*content)[0], 'x');
    EXPECT_EQ((*content)[699], 'y');
    EXPECT_EQ(v->read_all(l->nodes[0], 699).error().code, "file-too-large");
}

TEST(Reader, NamesEveryKindOfBrokenChain) {
    const auto flaws = [](const std::function<void(Small&)>& spoil) {
        Small s;
        s.entry(0, "A       TXT", 0x20, 3, 700);
        s.set_fat(3, 4), s.set_fat(4, 0xFFF);
        spoil(s);
        return kinds(s.list());
    };
    using K = std::vector<FlawKind>;
    EXPECT_EQ(flaws([](Small&) {}), K{});
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(4, 3); }), K{FlawKind::chain_circular});
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(3, 3); }), K{FlawKind::chain_circular});
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(3, 0xFFF); }), K{FlawKind::chain_short});
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(4, 5), s.set_fat(5, 0xFFF); }), K{FlawKind::chain_long});
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(4, 0); }), K{FlawKind::chain_broken});
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(4, 0xFF7); }), K{FlawKind::chain_broken});
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(4, 10); }), K{FlawKind::chain_broken});  // the last cluster is 9
    EXPECT_EQ(flaws([](Small& s) { s.set_fat(4, 9), s.set_fat(9, 0xFFF); }), K{FlawKind::chain_long});
    EXPECT_EQ(flaws([](Small& s) { s.entry(1, "B       TXT", 0x20, 4, 1); }), K{FlawKind::chain_crossed});
    EXPECT_EQ(flaws([](Small& s) { s.entry(1, "B       TXT", 0x20, 0, 1); }), K{FlawKind::chain_short});
    EXPECT_EQ(flaws([](Small& s) { s.bytes.resize((3 + 2) * 512); }), K{FlawKind::past_the_end});
    EXPECT_EQ(flaws([](Small& s) { s.entry(1, "D          ", 0x10, 6, 0); }),
              (K{FlawKind::chain_broken, FlawKind::bad_folder}));
}

// Every chain that 8 clusters allow from one file, against a naive reader that keeps a list of what it saw.
TEST(Reader, EveryChainOfFourClustersAgainstANaiveReader) {
    const std::uint32_t values[] = {0, 2, 3, 4, 5, 10, 0xFF7, 0xFFF};
    Small s;
    s.entry(0, "A       TXT", 0x20, 2, 1000);
    std::uint64_t tried = 0;
    for (const auto a : values)
        for (const auto b : values)
            for (const auto c : values)
                for (const auto d : values) {
                    const std::uint32_t fat[] = {0, 0, a, b, c, d};
                    for (std::uint32_t i = 2; i < 6; ++i) s.set_fat(i, fat[i]);
                    // Naive: follow until the end or until something is wrong.
                    std::vector<std::uint32_t> seen;
                    std::uint32_t at = 2;
                    bool ended = false, circular = false;
                    while (at >= 2 && at <= 5) {
                        if (std::count(seen.begin(), seen.end(), at)) {
                            circular = true;
                            break;
                        }
                        seen.push_back(at);
                        ended = fat[at] == 0xFFF;
                        at = fat[at];
                        if (ended) break;
                    }
                    const auto l = s.list();
                    ASSERT_EQ(l.nodes.at(0).whole, seen.size() >= 2);
                    ASSERT_EQ(l.clusters_used, seen.size());
                    ASSERT_EQ(std::count_if(l.flaws.begin(), l.flaws.end(),
                                            [](const Flaw& f) { return f.kind == FlawKind::chain_circular; }),
                              circular ? 1 : 0);
                    bool nowhere = false;  // an entry of no file's cluster that leads out of the volume
                    for (std::uint32_t i = 2; i < 6; ++i)
                        nowhere = nowhere || (fat[i] == 10 && !std::count(seen.begin(), seen.end(), i));
                    ASSERT_EQ(l.flaws.empty(), ended && seen.size() == 2 && !nowhere);
                    ++tried;
                }
    EXPECT_EQ(tried, 4096u);
}

TEST(Reader, FoldersThatContainThemselvesEnd) {
    Small s;
    s.entry(0, "D          ", 0x10, 2, 0);
    s.set_fat(2, 0xFFF);
    s.entry(0, ".          ", 0x10, 2, 0, (3 + 0) * 512);
    s.entry(1, "..         ", 0x10, 0, 0, (3 + 0) * 512);
    s.entry(2, "AGAIN      ", 0x10, 2, 0, (3 + 0) * 512);
    const auto l = s.list();
    EXPECT_EQ(kinds(l), std::vector<FlawKind>{FlawKind::chain_crossed});
    EXPECT_EQ(l.nodes.size(), 2u);
}

TEST(Reader, WantsDotEntries) {
    Small s;
    s.entry(0, "D          ", 0x10, 2, 0);
    s.set_fat(2, 0xFFF);
    s.entry(0, ".          ", 0x10, 2, 0, 3 * 512);
    s.entry(1, "..         ", 0x10, 5, 0, 3 * 512);
    EXPECT_EQ(kinds(s.list()), std::vector<FlawKind>{FlawKind::bad_folder});
}

TEST(Reader, HonoursTheLowerCaseBitsOfShortNames) {  // common practice of desktop systems, no source
    Small s;
    s.entry(0, "READ    TXT", 0x20, 0, 0);
    s.bytes[1024 + 12] = 0x18;
    s.entry(1,
            "\x05"
            "BC        ",
            0x20, 0, 0);
    const auto l = s.list();
    EXPECT_EQ(l.nodes[0].path, "read.txt");
    EXPECT_EQ(l.nodes[0].short_name, "READ.TXT");
    EXPECT_EQ(l.nodes[1].path,
              "\xEF\xBF\xBD"
              "BC");  // 05 stands for E5, whose letter depends on the code page
}

TEST(Reader, AWrongLongNameSumFallsBackToTheShortName) {
    auto card = test::lay_in_memory({{"A long name.bin", Bytes(1)}}, family::CardRule{});
    const auto g = card.laid.geometry;
    const std::size_t root = g.data_start() * 512;
    ASSERT_EQ(card.device.bytes[root + 11], 0x0F);
    card.device.bytes[root + 13] ^= 1;
    card.device.bytes[root + 32 + 13] ^= 1;
    auto v = Volume::open(card.device);
    const auto l = v->list();
    EXPECT_EQ(kinds(*l), std::vector<FlawKind>{FlawKind::long_name_sum});
    EXPECT_EQ(l->nodes.at(0).path, "ALONGN~1.BIN");
}

// Specification 1.03: the count alone decides, whatever the layout; at the border and one past it.
TEST(Reader, TypeFollowsTheCountAtEveryBorder) {
    const auto boot = [](std::uint64_t clusters, bool wide) {
        Bytes s(512);
        const ByteSpan b(s);
        b[0] = 0xEB;
        store_le16(b, 11, 512);
        b[13] = 1;
        store_le16(b, 14, 32);
        b[16] = 1;
        b[21] = 0xF8;
        const std::uint32_t fat = 600;
        if (wide)
            store_le32(b, 36, fat);
        else
            store_le16(b, 22, fat), store_le16(b, 17, 16);
        store_le32(b, 32, static_cast<std::uint32_t>(32 + fat + (wide ? 0 : 1) + clusters));
        b[510] = 0x55, b[511] = 0xAA;
        return parse_boot_sector(s);
    };
    for (const auto& r : test::table("fat-type-by-cluster-count.csv")) {
        const auto n = std::stoull(r.at("cluster_count"));
        if (n == 0 || n > 70000) continue;
        for (const bool wide : {false, true}) {
            const auto b = boot(n, wide);
            ASSERT_TRUE(b) << b.error().message();
            EXPECT_EQ(b->clusters, n);
            EXPECT_EQ(words(b->type), r.at("fat_type"));
        }
    }
}

TEST(BootSector, NamesTheFieldThatIsWrong) {
    const Small s;
    const auto said = [&](std::size_t at, Byte v) {
        Bytes b = s.bytes;
        b[at] = v;
        const auto r = parse_boot_sector(b);
        return r ? std::string() : r.error().place.words() + ": " + r.error().problem;
    };
    EXPECT_EQ(said(13, 3), "boot sector, sectors per cluster: holds 3, allowed is a power of two from 1 to 128");
    EXPECT_EQ(said(12, 3), "boot sector, bytes per sector: holds 768, allowed is 512, 1024, 2048 or 4096");
    EXPECT_EQ(said(14, 0), "boot sector, reserved sectors: holds 0, allowed is at least 1");
    EXPECT_EQ(said(16, 0), "boot sector, FAT copies: holds 0, allowed is at least 1");
    EXPECT_EQ(said(21, 0xF1), "boot sector, media: holds 241, allowed is 240 or 248 to 255");
    EXPECT_EQ(
        said(19, 3),
        "boot sector, total sectors: holds 3, allowed is more than the 3 that the FATs and what is before them take");
    EXPECT_NE(said(510, 0), "");
    EXPECT_NE(said(0, 0), "");
}

TEST(Table, TellsABootSectorFromATable) {
    Small s;
    MemoryDevice volume(s.bytes);
    EXPECT_EQ(read_table(volume)->kind, TableKind::none);
    auto card = test::lay_in_memory({}, family::CardRule{});
    const auto table = read_table(card.device);
    EXPECT_EQ(table->kind, TableKind::mbr);
    ASSERT_EQ(table->partitions.size(), 1u);
    EXPECT_EQ(table->partitions[0].start, card.laid.geometry.partition_start);
    card.device.bytes[446] = 0x17;  // no status byte has this value
    EXPECT_EQ(read_table(card.device)->kind, TableKind::none);
    MemoryDevice empty(Bytes{});
    EXPECT_EQ(read_table(empty)->kind, TableKind::none);
}

TEST(FileSystemAt, KnowsOthersByTheirMagic) {
    const auto at = [](std::size_t offset, std::string_view magic) {
        MemoryDevice d(Bytes(80000));
        std::copy(magic.begin(), magic.end(), d.bytes.begin() + static_cast<std::ptrdiff_t>(512 + offset));
        return file_system_at(d, 512);
    };
    EXPECT_EQ(at(3, "EXFAT   "), "exFAT");
    EXPECT_EQ(at(3, "NTFS    "), "NTFS");
    EXPECT_EQ(at(1080, "\x53\xEF"), "ext2");
    EXPECT_EQ(at(1024, "H+"), "HFS+");
    EXPECT_EQ(at(32, "NXSB"), "APFS");
    EXPECT_EQ(at(32769, "CD001"), "ISO 9660");
    EXPECT_EQ(at(0, "nothing"), "");
}

TEST(FaultyDevice, FailsReadsWhereItWasTold) {
    auto card = test::lay_in_memory({{"a.bin", test::noise(1, 4u << 20)}}, family::CardRule{});
    FaultyDevice::Plan plan;
    plan.fail_read_at = card.laid.files[0].extent.at + (3u << 20);
    FaultyDevice device(card.device, plan);
    auto v = Volume::open(device);
    const auto l = v->list();
    std::uint64_t got = 0;
    const Status s = v->read(*l->find("a.bin"), [&](ByteView b) -> Status {
        got += b.size();
        return {};
    });
    EXPECT_EQ(s.error().code, "device-read-failed");
    EXPECT_EQ(got, 3u << 20);
}

// Found by the fuzzer: "MAIN/A" in one short name read as the file 'A' of a folder 'MAIN', which no box would find
// there.
TEST(Reader, ASlashInAShortNameMakesNoFolder) {
    Small s;
    s.set_fat(2, 0xFFF);
    s.entry(0, "MAIN/A  BIN", 0x20, 2, 5);
    s.entry(1, "           ", 0x20, 0, 0);
    const Listing l = s.list();
    ASSERT_EQ(l.nodes.size(), 2u);
    EXPECT_EQ(l.nodes[0].path, "MAIN\\x2FA.BIN");
    EXPECT_FALSE(l.find("MAIN/A.BIN"));
    EXPECT_EQ(l.nodes[1].path, "\\x20");
    EXPECT_EQ(kinds(l), (std::vector{FlawKind::bad_name, FlawKind::bad_name}));
}

}  // namespace
}  // namespace fettle::card
