// Against the tables of the Microsoft FAT32 File System Specification 1.03 and of the SD Association, copied to
// tests/data/reference with their sources.
#include "fettle/card/geometry.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/card/test_cards.h"

namespace fettle::card {
namespace {

using test::table;

std::uint64_t number(const std::string& s) {
    return std::stoull(s);
}

TEST(FatType, FollowsTheClusterCountAlone) {
    const auto rows = table("fat-type-by-cluster-count.csv");
    ASSERT_EQ(rows.size(), 6u);
    for (const auto& r : rows) EXPECT_EQ(words(fat_type(number(r.at("cluster_count")))), r.at("fat_type"));
}

TEST(Fat32Table, HoldsAtEveryRowEdge) {
    const auto rows = table("fat32-cluster-sizes.csv");
    ASSERT_EQ(rows.size(), 6u);
    for (std::size_t i = 0; i < rows.size(); ++i) {
        const auto edge = number(rows[i].at("disk_sectors_up_to"));
        EXPECT_EQ(fat32_table_sectors_per_cluster(edge), number(rows[i].at("sectors_per_cluster")));
        EXPECT_EQ(fat32_table_sectors_per_cluster(edge - 1), number(rows[i].at("sectors_per_cluster")));
        if (i + 1 < rows.size()) {
            EXPECT_EQ(fat32_table_sectors_per_cluster(edge + 1), number(rows[i + 1].at("sectors_per_cluster")));
        }
    }
}

TEST(FatSize, IsThatOfTheWorkedExamples) {
    int checked = 0;
    for (const auto& r : table("fat-size-examples.csv")) {
        if (r.at("intended") != "FAT32") continue;
        const auto total = number(r.at("total_sectors")), reserved = number(r.at("reserved_sectors"));
        const auto per_cluster = static_cast<std::uint32_t>(number(r.at("sectors_per_cluster")));
        const auto copies = static_cast<std::uint32_t>(number(r.at("num_fats")));
        const auto size = fat32_sectors(total, reserved, per_cluster, copies);
        EXPECT_EQ(size, number(r.at("fat_size_sectors"))) << r.at("case");
        const auto clusters = (total - reserved - copies * size) / per_cluster;
        EXPECT_EQ(clusters, number(r.at("cluster_count"))) << r.at("case");
        EXPECT_EQ(words(fat_type(clusters)), r.at("type_by_count"));
        ++checked;
    }
    EXPECT_EQ(checked, 8);
}

// Story 25: 32 KiB clusters on a 2.000 GB card look like FAT32 and are none.
TEST(FatSize, Story25) {
    EXPECT_EQ(2000000000u / 32768, 61035u);
    EXPECT_EQ(2000000000u / 16384, 122070u);
    const std::uint64_t volume = 2000000000u / 512 - 2048;
    const auto clusters = [&](std::uint32_t per_cluster) {
        return (volume - 32 - 2 * fat32_sectors(volume, 32, per_cluster, 2)) / per_cluster;
    };
    EXPECT_EQ(clusters(64), 60987u);
    EXPECT_EQ(clusters(32), 121945u);
    EXPECT_EQ(fat_type(61035), FatType::fat16);
    EXPECT_EQ(fat_type(60987), FatType::fat16);
    EXPECT_EQ(fat_type(121945), FatType::fat32);

    // Asked for nothing but 32 KiB clusters on that card, the planner refuses; with 16 KiB allowed it takes them.
    family::CardRule rule;
    rule.cluster_kib = {32};
    EXPECT_EQ(plan_geometry(2000000000u / 512 * 512, rule).error().code, "card-too-small");
    rule.cluster_kib = {16, 32};
    EXPECT_EQ(plan_geometry(2000000000u / 512 * 512, rule)->sectors_per_cluster, 32u);
}

TEST(BoundaryUnit, IsThatOfTheSdTable) {
    const auto rows = table("sd-format-parameters.csv");
    ASSERT_EQ(rows.size(), 9u);
    for (std::size_t i = 0; i < rows.size(); ++i) {
        std::istringstream words_in(rows[i].at("capacity"));  // "up to 32 GB (SDHC)"
        std::string up, to, unit;
        std::uint64_t n = 0;
        words_in >> up >> to >> n >> unit;
        const std::uint64_t bytes = n << (unit == "MB" ? 20 : unit == "GB" ? 30 : 40);
        EXPECT_EQ(boundary_unit_sectors(bytes), number(rows[i].at("boundary_unit_sectors"))) << rows[i].at("capacity");
        if (i + 1 < rows.size()) {
            EXPECT_EQ(boundary_unit_sectors(bytes + 512), number(rows[i + 1].at("boundary_unit_sectors")));
        }
    }
}

RC_GTEST_PROP(PlanGeometry, IsAlignedAndASafeFat32WheneverItIsGiven, ()) {
    const auto sectors = *rc::gen::inRange<std::uint64_t>(1000, std::uint64_t{1} << *rc::gen::inRange(12, 33));
    family::CardRule rule;
    rule.cluster_kib = *rc::gen::element(std::vector<std::uint32_t>{}, std::vector<std::uint32_t>{4},
                                         std::vector<std::uint32_t>{4, 8, 16, 32}, std::vector<std::uint32_t>{32});
    const auto g = plan_geometry(sectors * sector_bytes, rule);
    if (!g) {
        RC_ASSERT(g.error().code == "card-too-small");
        return;
    }
    const std::uint64_t unit = boundary_unit_sectors(sectors * sector_bytes);
    RC_ASSERT(g->partition_start % unit == 0u);
    // The 16-bit field for reserved sectors cannot reach a whole unit above 128 GiB.
    if (unit <= 32768) RC_ASSERT(g->data_start() % unit == 0u);
    RC_ASSERT(g->reserved >= 32u && g->reserved <= 65535u);
    RC_ASSERT(g->partition_start + g->partition_sectors <= sectors);
    RC_ASSERT(g->clusters >= 65541u && g->clusters <= 268435444u);
    RC_ASSERT(fat_type(g->clusters) == FatType::fat32);
    RC_ASSERT((g->clusters + 2) * 4 <= g->fat_sectors * sector_bytes);
    RC_ASSERT(g->data_start() + g->clusters * g->sectors_per_cluster <= g->partition_start + g->partition_sectors);
    if (!rule.cluster_kib.empty())
        RC_ASSERT(std::count(rule.cluster_kib.begin(), rule.cluster_kib.end(), g->cluster_bytes() / 1024) == 1);
}

TEST(PlanGeometry, TakesTheSpecificationsClusterWhereTheFamilyDoes) {
    family::CardRule rule;
    EXPECT_EQ(plan_geometry(std::uint64_t{200} << 20, rule)->cluster_bytes(), 512u);
    EXPECT_EQ(plan_geometry(std::uint64_t{4} << 30, rule)->cluster_bytes(), 4096u);
    EXPECT_EQ(plan_geometry(std::uint64_t{16} << 30, rule)->cluster_bytes(), 8192u);
    EXPECT_EQ(plan_geometry(std::uint64_t{32} << 30, rule)->cluster_bytes(), 16384u);
    rule.cluster_kib = {16, 32};
    EXPECT_EQ(plan_geometry(std::uint64_t{4} << 30, rule)->cluster_bytes(), 16384u);
}

// SD Association, as quoted in the reference: 0B below 16,450,560 sectors, 0C from there on.
TEST(PlanGeometry, PartitionTypeChangesWhereCylindersEnd) {
    family::CardRule rule;
    const auto below = plan_geometry(16450559ull * 512, rule), at = plan_geometry(16450560ull * 512, rule);
    EXPECT_EQ(below->partition_type, 0x0B);
    EXPECT_EQ(at->partition_type, 0x0C);
}

TEST(PlanGeometry, RefusesWhatTheFamilyRefuses) {
    family::CardRule rule;
    rule.min_bytes = 1u << 30;
    rule.max_bytes = std::uint64_t{32} << 30;
    EXPECT_EQ(plan_geometry(rule.min_bytes - 512, rule).error().code, "card-too-small");
    EXPECT_TRUE(plan_geometry(rule.min_bytes, rule));
    EXPECT_TRUE(plan_geometry(rule.max_bytes, rule));
    const auto large = plan_geometry(rule.max_bytes + 512, rule);
    EXPECT_EQ(
        large.error().message(),
        "card size: 32,768 MiB, but the family takes cards up to 32,768 MiB (family file). Next: take a smaller card.");
    rule.table = "gpt";
    EXPECT_EQ(plan_geometry(rule.min_bytes, rule).error().code, "card-table-not-laid");
}

}  // namespace
}  // namespace fettle::card
