#include "fettle/card/geometry.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <optional>
#include <utility>

#include "fettle/base/text.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t MiB = 1u << 20;
constexpr std::uint32_t usual_reserved = 32;  // specification 1.03: what its own tables count with

std::uint64_t up_to(std::uint64_t v, std::uint64_t unit) {
    return (v + unit - 1) / unit * unit;
}

// The volume for one cluster size, or nothing if that is no safe FAT32.
std::optional<Geometry> with_cluster(std::uint64_t card_sectors, std::uint32_t sectors_per_cluster) {
    Geometry g;
    const std::uint64_t unit = boundary_unit_sectors(card_sectors * sector_bytes);
    g.card_sectors = card_sectors;
    g.sectors_per_cluster = sectors_per_cluster;
    g.partition_start = unit;
    if (card_sectors <= 2 * unit + usual_reserved) return std::nullopt;
    g.partition_sectors = std::min<std::uint64_t>(card_sectors - unit, 0xFFFFFFFFu);
    g.fat_sectors = static_cast<std::uint32_t>(
        fat32_sectors(g.partition_sectors, usual_reserved, sectors_per_cluster, Geometry::fat_copies));
    // The reserved area grows until the data area starts on a boundary unit; the partition starts on one already. Its
    // size is a 16-bit field: on cards above 128 GiB the data area starts on half a unit, or less, where it must.
    const std::uint64_t fats = std::uint64_t{Geometry::fat_copies} * g.fat_sectors;
    std::uint64_t align = unit;
    while (up_to(usual_reserved + fats, align) - fats > 0xFFFF) align /= 2;
    const std::uint64_t reserved = up_to(usual_reserved + fats, align) - fats;
    if (g.partition_sectors <= reserved + fats) return std::nullopt;
    g.reserved = static_cast<std::uint32_t>(reserved);
    g.clusters = (g.partition_sectors - reserved - fats) / sectors_per_cluster;
    if (g.clusters < fat32_fewest_clusters || g.clusters > fat32_most_clusters) return std::nullopt;
    // The SD Association's rule between the two FAT32 types: what cylinder, head and sector can still reach.
    g.partition_type = g.partition_start + g.partition_sectors < 16450560 ? 0x0B : 0x0C;
    return g;
}

std::string kib_list(const std::vector<std::uint32_t>& kib) {
    std::vector<std::string> out;
    for (const auto k : kib) out.push_back(std::to_string(k));
    return join(out, ", ") + " KiB";
}

}  // namespace

const char* words(FatType t) {
    return t == FatType::fat12 ? "FAT12" : t == FatType::fat16 ? "FAT16" : "FAT32";
}

FatType fat_type(std::uint64_t clusters) {
    if (clusters < 4085) return FatType::fat12;
    if (clusters < 65525) return FatType::fat16;
    return FatType::fat32;
}

std::uint64_t fat32_sectors(std::uint64_t volume_sectors, std::uint64_t reserved, std::uint32_t sectors_per_cluster,
                            std::uint32_t copies) {
    const std::uint64_t t1 = volume_sectors - reserved;
    const std::uint64_t t2 = (std::uint64_t{256} * sectors_per_cluster + copies) / 2;
    return (t1 + t2 - 1) / t2;
}

std::uint32_t fat32_table_sectors_per_cluster(std::uint64_t volume_sectors) {
    if (volume_sectors <= 66600) return 0;
    if (volume_sectors <= 532480) return 1;
    if (volume_sectors <= 16777216) return 8;
    if (volume_sectors <= 33554432) return 16;
    if (volume_sectors <= 67108864) return 32;
    return 64;
}

std::uint64_t boundary_unit_sectors(std::uint64_t card_bytes) {
    if (card_bytes <= 8 * MiB) return 16;
    if (card_bytes <= 64 * MiB) return 32;
    if (card_bytes <= 256 * MiB) return 64;
    if (card_bytes <= 2048 * MiB) return 128;
    if (card_bytes <= 32 * 1024 * MiB) return 8192;
    if (card_bytes <= 128 * 1024 * MiB) return 32768;
    if (card_bytes <= 512 * 1024 * MiB) return 65536;
    return 131072;
}

Result<Geometry> plan_geometry(std::uint64_t card_bytes, const family::CardRule& rule) {
    if (rule.table != "mbr" || rule.file_system != "fat32")
        return bad_input(
            "card-file-system-not-built", "family file, [card]",
            fmt::format("asks for table \"{}\" with file system \"{}\"; Fettle lays \"mbr\" with \"fat32\"", rule.table,
                        rule.file_system),
            "lay this card by the maker's instructions, then audit it here");
    if (rule.max_bytes != 0 && card_bytes > rule.max_bytes)
        return bad_input("card-too-large", "card size",
                         fmt::format("{}, but the family takes cards up to {} (family file)", human_bytes(card_bytes),
                                     human_bytes(rule.max_bytes)),
                         "take a smaller card");
    if (card_bytes < rule.min_bytes)
        return bad_input("card-too-small", "card size",
                         fmt::format("{}, but the family takes cards from {} (family file)", human_bytes(card_bytes),
                                     human_bytes(rule.min_bytes)),
                         "take a larger card");

    const std::uint64_t sectors = card_bytes / sector_bytes;
    std::vector<std::uint32_t> sizes;  // sectors per cluster, what the specification's table says first
    for (const std::uint32_t s : {1u, 2u, 4u, 8u, 16u, 32u, 64u}) {
        const bool allowed =
            rule.cluster_kib.empty() || std::any_of(rule.cluster_kib.begin(), rule.cluster_kib.end(),
                                                    [&](std::uint32_t kib) { return std::uint64_t{kib} * 2 == s; });
        if (allowed) sizes.push_back(s);
    }
    const std::uint32_t table = std::max(1u, fat32_table_sectors_per_cluster(sectors));
    const auto distance = [&](std::uint32_t s) { return s > table ? s / table : table / s; };
    std::sort(sizes.begin(), sizes.end(),
              [&](auto a, auto b) { return std::pair(distance(a), a) < std::pair(distance(b), b); });
    for (const auto s : sizes)
        if (auto g = with_cluster(sectors, s)) return *g;

    return bad_input(
        "card-too-small", "card size",
        fmt::format("{} is no size for FAT32 {}: with fewer than {} clusters a reader may take it for FAT16",
                    human_bytes(card_bytes),
                    rule.cluster_kib.empty() ? std::string("at any cluster size")
                                             : "with the family's clusters of " + kib_list(rule.cluster_kib),
                    fat32_fewest_clusters),
        "take a larger card or leave the size out, so that a fitting one is chosen");
}

}  // namespace fettle::card
