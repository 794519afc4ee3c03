// Against the sums and tables of the exFAT specification, copied to tests/data/reference with their sources.
#include "fettle/card/exfat.h"

#include <gtest/gtest.h>

#include <bit>
#include <set>

#include "fettle/card/fat_names.h"
#include "fettle/card/test_cards.h"

namespace fettle::card {
namespace {

std::uint32_t from_hex(const std::string& s) {
    return static_cast<std::uint32_t>(std::stoul(s, nullptr, 16));
}

// Section 7.2.5.1, printed there word by word.
TEST(ExfatUpcase, IsTheRecommendedTable) {
    Bytes printed;
    for (const auto& r : test::table("exfat-upcase-compressed.csv"))
        for (int i = 0; i < 8; ++i) {
            const auto cell = r.find("v" + std::to_string(i));
            if (cell == r.end() || cell->second.empty()) continue;
            const auto v = static_cast<std::uint16_t>(from_hex(cell->second));
            printed.push_back(static_cast<Byte>(v));
            printed.push_back(static_cast<Byte>(v >> 8));
        }
    ASSERT_EQ(printed.size(), 5836u);
    EXPECT_EQ(exfat::recommended_upcase_compressed(), printed);
    EXPECT_EQ(exfat::expanded_upcase(printed), exfat::recommended_upcase());
    Bytes whole;
    for (const char16_t c : exfat::recommended_upcase()) {
        whole.push_back(static_cast<Byte>(c));
        whole.push_back(static_cast<Byte>(c >> 8));
    }
    EXPECT_EQ(exfat::expanded_upcase(whole), exfat::recommended_upcase());
    whole.resize(whole.size() + 2);
    EXPECT_TRUE(exfat::expanded_upcase(whole).empty());  // one unit too many
}

TEST(ExfatSums, AreThoseOfTheReferenceTable) {
    const Bytes compressed = exfat::recommended_upcase_compressed();
    Bytes boot(11 * 512);
    std::set<std::string> kinds;
    for (const auto& r : test::table("exfat-checksums.csv")) {
        const std::string kind = r.at("kind"), input = r.at("input");
        if (kind == "TableChecksum" && input.starts_with("recommended")) {
            EXPECT_EQ(exfat::table_sum(compressed), from_hex(r.at("value_hex")));
        } else if (kind == "BootChecksum") {
            if (input.starts_with("11 sectors zero except"))
                for (std::size_t s = 0; s < 9; ++s) boot[s * 512 + 510] = 0x55, boot[s * 512 + 511] = 0xAA;
            if (input.starts_with("previous plus EB")) {
                const std::string_view head(
                    "\xEB\x76\x90"
                    "EXFAT   ",
                    11);
                std::copy(head.begin(), head.end(), boot.begin());
            }
            if (input.starts_with("previous with VolumeFlags")) boot[106] = 2, boot[112] = 50;
            if (input.find("repeating") != std::string::npos)
                for (std::size_t i = 0; i < boot.size(); ++i) boot[i] = static_cast<Byte>(i);
            EXPECT_EQ(exfat::boot_sum(boot), from_hex(r.at("value_hex"))) << input;
        } else if (kind == "NameHash") {
            const auto name = to_utf16(input);
            ASSERT_TRUE(name);
            EXPECT_EQ(exfat::name_hash(exfat::upcased(*name, exfat::recommended_upcase())), from_hex(r.at("value_hex")))
                << input;
        } else if (kind == "EntrySetChecksum") {
            const auto set = unhex(input.substr(input.find("hex ") + 4));
            ASSERT_TRUE(set);
            EXPECT_EQ(exfat::set_sum(*set), from_hex(r.at("value_hex")));
        } else {
            continue;
        }
        kinds.insert(kind);
    }
    EXPECT_EQ(kinds.size(), 4u);
}

class OtherFileSystems : public ::testing::TestWithParam<const char*> {};

// What is laid as FAT16 or exFAT is read back whole by the reader and audits as good for a family that asks for it.
TEST_P(OtherFileSystems, LaidReadAndAudited) {
    auto p = test::package();
    p.family.card->file_system = GetParam();
    p.contents.emplace_back("empty.bin", Bytes{});
    p.contents.emplace_back("a/b/c/deep.bin", test::noise(5, 70000));
    auto card = test::lay_in_memory(p.contents, *p.family.card);
    auto volume = Volume::open(card.device);
    ASSERT_TRUE(volume) << volume.error().message();
    const auto listing = volume->list(true);
    ASSERT_TRUE(listing);
    EXPECT_TRUE(listing->flaws.empty());
    EXPECT_TRUE(listing->counted);
    EXPECT_EQ(listing->clusters_lost, 0u);
    EXPECT_EQ(listing->clusters_unmarked, 0u);
    EXPECT_EQ(listing->label, "DUNNOCK");
    EXPECT_EQ(listing->clusters_free + listing->clusters_used, volume->boot().clusters);
    for (const auto& [path, bytes] : p.contents) {
        const Node* n = listing->find(path);
        ASSERT_NE(n, nullptr) << path;
        EXPECT_TRUE(n->whole);
        const auto read = volume->read_all(*n, 1u << 20);
        ASSERT_TRUE(read);
        EXPECT_EQ(*read, bytes);
    }
    EXPECT_EQ(test::digest_of_extents(card.laid, card.device), card.laid.digest);
    p.contents.resize(p.contents.size() - 2);
    auto good = test::lay_in_memory(p.contents, *p.family.card);
    AuditRequest request;
    request.family = &p.family;
    const auto a = audit(good.device, request);
    EXPECT_EQ(test::codes(*a), "card-good") << a->sentence;
    // For a family that takes FAT32 the same card is wrong.
    p.family.card->file_system = "fat32";
    EXPECT_NE(test::find(*audit(good.device, request), "wrong-file-system"), nullptr);
}
INSTANTIATE_TEST_SUITE_P(Card, OtherFileSystems, ::testing::Values("fat16", "exfat"));

// Each part of exFAT's structure spoiled by itself, in place.
TEST(ExfatAudit, StructuralFindings) {
    auto p = test::package();
    p.family.card->file_system = "exfat";
    const auto good = test::lay_in_memory(p.contents, *p.family.card);
    const auto& g = good.laid.geometry;
    const std::size_t volume = g.partition_start * 512, heap = g.data_start() * 512;
    const std::size_t cluster = g.cluster_bytes();
    const auto after = [&](const std::function<void(Bytes&)>& spoil) {
        MemoryDevice d(good.device.bytes);
        spoil(d.bytes);
        AuditRequest r;
        r.family = &p.family;
        return test::codes(*audit(d, r));
    };
    const std::size_t upcase = heap + cluster, root = heap + 3 * cluster;  // bitmap: one, table: two
    ASSERT_EQ(good.device.bytes[root], exfat::label_entry);
    ASSERT_EQ(good.device.bytes[root + 96], exfat::file_entry);
    EXPECT_EQ(after([](Bytes&) {}), "card-good");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 106] = 2; }), "dirty-flag");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 106] = 4; }), "hard-error-flag");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 200] ^= 1; }), "boot-sum-wrong backup-boot-differs");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 12 * 512 + 200] ^= 1; }), "backup-boot-differs");
    EXPECT_EQ(after([&](Bytes& b) { b[volume + 108] = 8; }), "boot-sector-wrong");
    EXPECT_EQ(after([&](Bytes& b) { b[heap] &= 0xFE; }), "clusters-unmarked");
    EXPECT_EQ(after([&](Bytes& b) { b[heap + 500] |= 1; }), "lost-clusters");
    EXPECT_EQ(after([&](Bytes& b) { b[upcase + 100] ^= 1; }), "exfat-tables-damaged");
    EXPECT_EQ(after([&](Bytes& b) { b[root + 32] = 0x01; }), "exfat-tables-damaged");  // no bitmap in use
    EXPECT_EQ(after([&](Bytes& b) { b[root + 96 + 8] ^= 1; }), "entry-set-damaged");   // a time
    EXPECT_EQ(after([&](Bytes& b) { b[root + 96 + 32 + 4] ^= 1; }), "entry-set-damaged name-hash-wrong");
    EXPECT_EQ(after([&](Bytes& b) { b[446 + 4] = 0x0C; }), "partition-type-byte");
    EXPECT_EQ(after([&](Bytes& b) { b.resize(b.size() - 512); }), "card-cut-short");
    EXPECT_EQ(after([&](Bytes& b) { store_le32(b, g.fat_start(0) * 512 + 5 * 4, 5); }), "chain-circular");  // the root
}

// Story 26's card in the other direction, and figures: SD Association for cards above 32 GB.
TEST(ExfatGeometry, FollowsTheSdTable) {
    family::CardRule rule;
    rule.file_system = "exfat";
    const auto rows = test::table("sd-format-parameters.csv");
    int checked = 0;
    for (const auto& r : rows) {
        std::istringstream words_in(r.at("capacity"));  // "up to 128 GB (SDXC)"
        std::string up, to, unit;
        std::uint64_t n = 0;
        words_in >> up >> to >> n >> unit;
        if (r.at("capacity").find("SDXC") == std::string::npos) continue;
        const std::uint64_t bytes = n << (unit == "GB" ? 30 : 40);
        const auto g = plan_geometry(bytes, rule);
        ASSERT_TRUE(g) << g.error().message();
        EXPECT_EQ(g->sectors_per_cluster, std::stoul(r.at("sectors_per_cluster")));
        EXPECT_EQ(g->partition_start, std::stoul(r.at("boundary_unit_sectors")));
        EXPECT_EQ(g->data_start() % std::stoul(r.at("boundary_unit_sectors")), 0u);
        EXPECT_EQ(g->partition_type, 0x07);
        ++checked;
    }
    EXPECT_GE(checked, 2);
}

TEST(Fat16Geometry, FollowsTheSpecificationsTable) {
    const auto rows = test::table("fat16-cluster-sizes.csv");
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const std::uint64_t edge = std::stoull(rows[i].at("disk_sectors_up_to"), nullptr, 0);
        if (edge == 0xFFFFFFFF) continue;
        EXPECT_EQ(fat16_table_sectors_per_cluster(edge), std::stoul(rows[i].at("sectors_per_cluster")));
        EXPECT_EQ(fat16_table_sectors_per_cluster(edge - 1), std::stoul(rows[i].at("sectors_per_cluster")));
        if (i + 1 < rows.size()) {
            EXPECT_EQ(fat16_table_sectors_per_cluster(edge + 1), std::stoul(rows[i + 1].at("sectors_per_cluster")));
        }
    }
    family::CardRule rule;
    rule.file_system = "fat16";
    for (const std::uint64_t mib : {16u, 31u, 32u, 64u, 128u, 256u, 512u, 1024u, 2047u}) {
        const auto g = plan_geometry(mib << 20, rule);
        ASSERT_TRUE(g) << mib << g.error().message();
        EXPECT_EQ(fat_type(g->clusters), FatType::fat16);
        EXPECT_EQ(g->data_start() % boundary_unit_sectors(mib << 20), 0u);
        EXPECT_LE((g->clusters + 2) * 2, g->fat_sectors * 512u);
        EXPECT_EQ(g->partition_type, g->partition_sectors < 65536 ? 0x04 : 0x06);  // SD Association, sd-capacity.csv
    }
    ASSERT_FALSE(plan_geometry(std::uint64_t{8} << 30, rule));
    EXPECT_EQ(plan_geometry(std::uint64_t{8} << 30, rule).error().code, "card-too-large");
    EXPECT_EQ(plan_geometry(std::uint64_t{1} << 20, rule).error().code, "card-too-small");
}

}  // namespace
}  // namespace fettle::card
