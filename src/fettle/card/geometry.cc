// Figures by the specifications' formulas, then moved so that the data area begins on the card's boundary unit: a card
// writes whole units, and clusters that straddle them cost twice. The borders between FAT12, FAT16 and FAT32 are by the
// count of clusters alone, so a layout keeps its distance from them.
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
constexpr std::uint32_t usual_reserved = 32;      // specification 1.03: what its own tables count with
constexpr std::uint64_t exfat_boot_sectors = 24;  // both boot regions: the least that a FAT may stand behind

std::uint64_t up_to(std::uint64_t v, std::uint64_t unit) {
    return (v + unit - 1) / unit * unit;
}

// Partition, reserved sectors and FATs so that the data area starts on a boundary unit; the partition starts on one
// already. FAT's count of reserved sectors is a 16-bit field: on cards above 128 GiB its data area starts on half a
// unit, or less, where it must. Nothing if that does not fit.
bool place(Geometry& g, std::uint64_t unit, std::uint64_t fewest_reserved, std::uint64_t most_reserved) {
    const std::uint64_t rest = std::uint64_t{g.fat_copies} * g.fat_sectors + g.root_sectors();
    std::uint64_t align = unit;
    while (align > 1 && up_to(fewest_reserved + rest, align) - rest > most_reserved) align /= 2;
    const std::uint64_t reserved = up_to(fewest_reserved + rest, align) - rest;
    if (g.partition_sectors <= reserved + rest) return false;
    g.reserved = static_cast<std::uint32_t>(reserved);
    g.clusters = (g.partition_sectors - reserved - rest) / g.sectors_per_cluster;
    return true;
}

// The volume for one cluster size, or nothing if that is no safe volume of this type.
std::optional<Geometry> with_cluster(FatType type, std::uint64_t card_sectors, std::uint32_t sectors_per_cluster) {
    Geometry g;
    const std::uint64_t unit = boundary_unit_sectors(card_sectors * sector_bytes);
    g.type = type;
    g.card_sectors = card_sectors;
    g.sectors_per_cluster = sectors_per_cluster;
    g.partition_start = unit;
    if (card_sectors <= 2 * unit + usual_reserved) return std::nullopt;
    g.partition_sectors = std::min<std::uint64_t>(card_sectors - unit, 0xFFFFFFFFu);
    if (type == FatType::fat16) {
        g.root_entries = 512;  // specification 1.03: what its own table counts with
        const std::uint64_t fat = fat16_sectors(g.partition_sectors, 1, g.root_sectors(), sectors_per_cluster, 2);
        if (fat > 0xFFFF) return std::nullopt;
        g.fat_sectors = static_cast<std::uint32_t>(fat);
        if (!place(g, unit, 1, 0xFFFF)) return std::nullopt;
        if (g.clusters < fat16_fewest_clusters || g.clusters > fat16_most_clusters) return std::nullopt;
        g.partition_type = g.partition_sectors < 65536 ? 0x04 : 0x06;  // SD Association's table
        return g;
    }
    if (type == FatType::exfat) {
        g.fat_copies = 1;
        const std::uint64_t most = (g.partition_sectors - exfat_boot_sectors) / sectors_per_cluster;
        g.fat_sectors = static_cast<std::uint32_t>(((most + 2) * 4 + sector_bytes - 1) / sector_bytes);
        if (g.partition_sectors * sector_bytes < MiB) return std::nullopt;  // section 3.1, VolumeLength
        if (!place(g, unit, exfat_boot_sectors, 0xFFFFFFFF)) return std::nullopt;
        if (g.clusters < 16 || g.clusters > exfat_most_clusters) return std::nullopt;
        g.partition_type = 0x07;
        return g;
    }
    g.fat_sectors = static_cast<std::uint32_t>(
        fat32_sectors(g.partition_sectors, usual_reserved, sectors_per_cluster, g.fat_copies));
    if (!place(g, unit, usual_reserved, 0xFFFF)) return std::nullopt;
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
    switch (t) {
        case FatType::fat12: return "FAT12";
        case FatType::fat16: return "FAT16";
        case FatType::fat32: return "FAT32";
        case FatType::exfat: return "exFAT";
    }
    return "FAT32";
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

std::uint64_t fat16_sectors(std::uint64_t volume_sectors, std::uint64_t reserved, std::uint64_t root_sectors,
                            std::uint32_t sectors_per_cluster, std::uint32_t copies) {
    const std::uint64_t t1 = volume_sectors - (reserved + root_sectors);
    const std::uint64_t t2 = std::uint64_t{256} * sectors_per_cluster + copies;
    return (t1 + t2 - 1) / t2;
}

std::uint32_t fat16_table_sectors_per_cluster(std::uint64_t volume_sectors) {
    if (volume_sectors <= 8400) return 0;
    if (volume_sectors <= 32680) return 2;
    if (volume_sectors <= 262144) return 4;
    if (volume_sectors <= 524288) return 8;
    if (volume_sectors <= 1048576) return 16;
    if (volume_sectors <= 2097152) return 32;
    if (volume_sectors <= 4194304) return 64;
    return 0;
}

std::uint32_t exfat_usual_sectors_per_cluster(std::uint64_t card_bytes) {
    if (card_bytes <= 256 * MiB) return 8;
    if (card_bytes <= 32 * 1024 * MiB) return 64;
    if (card_bytes <= 128 * 1024 * MiB) return 256;
    if (card_bytes <= 512 * 1024 * MiB) return 512;
    return 1024;
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

FatType wanted_type(const family::CardRule& rule) {
    return rule.file_system == "fat16" ? FatType::fat16 : rule.file_system == "exfat" ? FatType::exfat : FatType::fat32;
}

Result<Geometry> plan_geometry(std::uint64_t card_bytes, const family::CardRule& rule) {
    if (rule.table != "mbr")
        return bad_input("card-table-not-laid", "family file, [card]",
                         fmt::format("asks for table \"{}\"; Fettle lays cards with \"mbr\" alone", rule.table),
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

    const FatType type = wanted_type(rule);
    const std::uint64_t sectors = card_bytes / sector_bytes;
    std::vector<std::uint32_t> sizes;                                      // sectors per cluster
    const std::uint32_t largest = type == FatType::exfat ? 1u << 16 : 64;  // 32 MiB; 32 KiB
    for (std::uint32_t s = 1; s <= largest; s *= 2) {
        const bool allowed =
            rule.cluster_kib.empty() || std::any_of(rule.cluster_kib.begin(), rule.cluster_kib.end(),
                                                    [&](std::uint32_t kib) { return std::uint64_t{kib} * 2 == s; });
        if (allowed) sizes.push_back(s);
    }
    const std::uint32_t usual = std::max(1u, type == FatType::exfat   ? exfat_usual_sectors_per_cluster(card_bytes)
                                             : type == FatType::fat16 ? fat16_table_sectors_per_cluster(sectors)
                                                                      : fat32_table_sectors_per_cluster(sectors));
    const auto distance = [&](std::uint32_t s) { return s > usual ? s / usual : usual / s; };
    std::sort(sizes.begin(), sizes.end(),
              [&](auto a, auto b) { return std::pair(distance(a), a) < std::pair(distance(b), b); });
    for (const auto s : sizes)
        if (auto g = with_cluster(type, sectors, s)) return *g;

    const std::string with = rule.cluster_kib.empty() ? std::string("at any cluster size")
                                                      : "with the family's clusters of " + kib_list(rule.cluster_kib);
    if (type == FatType::fat16 && sectors > 65536)
        return bad_input("card-too-large", "card size",
                         fmt::format("{} is no size for FAT16 {}: with more than {} clusters a reader may take it for "
                                     "FAT32",
                                     human_bytes(card_bytes), with, fat16_most_clusters),
                         "take a smaller card, 2 GiB at most");
    if (type == FatType::exfat)
        return bad_input("card-too-small", "card size",
                         fmt::format("{} is no size for exFAT {}", human_bytes(card_bytes), with),
                         "take a larger card or leave the size out, so that a fitting one is chosen");
    return bad_input("card-too-small", "card size",
                     fmt::format("{} is no size for {} {}: with fewer than {} clusters a reader may take it for {}",
                                 human_bytes(card_bytes), words(type), with,
                                 type == FatType::fat16 ? fat16_fewest_clusters : fat32_fewest_clusters,
                                 type == FatType::fat16 ? "FAT12" : "FAT16"),
                     "take a larger card or leave the size out, so that a fitting one is chosen");
}

}  // namespace fettle::card
