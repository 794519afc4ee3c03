// Figures of a card: where the partition, the FATs and the data area start, and how large a cluster is. Pure
// arithmetic over the FAT specification 1.03, the exFAT specification and the SD Association's layout figures; see
// docs/formats/fat32.md and docs/formats/exfat.md.
#pragma once

#include <cstdint>

#include "fettle/base/result.h"
#include "fettle/family/family.h"

namespace fettle::card {

inline constexpr std::uint64_t sector_bytes = 512;

enum class FatType { fat12, fat16, fat32, exfat };
const char* words(FatType t);  // "FAT12", "FAT16", "FAT32", "exFAT"

// By the count of data clusters alone (specification 1.03, "FAT Type Determination"); never exFAT.
FatType fat_type(std::uint64_t clusters);

// Sectors one FAT32 copy takes by the specification's formula: never too small, at times a few sectors too large.
std::uint64_t fat32_sectors(std::uint64_t volume_sectors, std::uint64_t reserved, std::uint32_t sectors_per_cluster,
                            std::uint32_t copies);

// Likewise for FAT16, whose root folder has an area of its own.
std::uint64_t fat16_sectors(std::uint64_t volume_sectors, std::uint64_t reserved, std::uint64_t root_sectors,
                            std::uint32_t sectors_per_cluster, std::uint32_t copies);

// The specification's tables for volumes of this many sectors; 0: too small (or, for FAT16, too large) for this type.
std::uint32_t fat32_table_sectors_per_cluster(std::uint64_t volume_sectors);
std::uint32_t fat16_table_sectors_per_cluster(std::uint64_t volume_sectors);

// What the SD Association lays exFAT cards above 32 GiB with; below that the sizes that common systems choose (4 KiB up
// to 256 MiB, 32 KiB up to 32 GiB; from memory).
std::uint32_t exfat_usual_sectors_per_cluster(std::uint64_t card_bytes);

// The SD Association's boundary unit, in sectors, for a card of this capacity.
std::uint64_t boundary_unit_sectors(std::uint64_t card_bytes);

// Fewest and most clusters we make a FAT32 volume with: 16 away from the border with FAT16, because not all readers
// count alike.
inline constexpr std::uint64_t fat32_fewest_clusters = 65525 + 16;
inline constexpr std::uint64_t fat32_most_clusters = 268435444;
// Likewise for FAT16, 16 away from both borders.
inline constexpr std::uint64_t fat16_fewest_clusters = 4085 + 16;
inline constexpr std::uint64_t fat16_most_clusters = 65524 - 16;
// What the exFAT specification recommends as the most (section 9).
inline constexpr std::uint64_t exfat_most_clusters = (1u << 24) - 2;

// All in sectors of 512 bytes, absolute on the card unless said otherwise.
struct Geometry {
    std::uint64_t card_sectors = 0;
    std::uint64_t partition_start = 0;
    std::uint64_t partition_sectors = 0;
    std::uint32_t reserved = 0;  // from the partition's start to the first FAT
    std::uint32_t fat_sectors = 0;
    std::uint32_t sectors_per_cluster = 0;
    std::uint64_t clusters = 0;
    std::uint8_t partition_type = 0;  // 0x04, 0x06, 0x07, 0x0B or 0x0C
    FatType type = FatType::fat32;
    std::uint32_t fat_copies = 2;    // exFAT: 1
    std::uint32_t root_entries = 0;  // of FAT16's root folder; 0: the root is a chain like any other

    std::uint64_t fat_start(std::uint32_t copy) const {
        return partition_start + reserved + copy * std::uint64_t{fat_sectors};
    }
    std::uint64_t root_start() const { return fat_start(fat_copies); }
    std::uint64_t root_sectors() const { return root_entries * 32 / sector_bytes; }
    std::uint64_t data_start() const { return root_start() + root_sectors(); }
    std::uint64_t cluster_bytes() const { return sectors_per_cluster * sector_bytes; }
    bool operator==(const Geometry&) const = default;
};

// The one geometry for a card of this size under this rule: the usual cluster size where the family takes it and it
// gives a volume of the family's file system, else the nearest that does. bad_input: `card-too-small`,
// `card-too-large`, `card-table-not-laid` (the family wants another table than an MBR).
Result<Geometry> plan_geometry(std::uint64_t card_bytes, const family::CardRule& rule);

// The family file's word for a file system as people write it: "FAT32" for "fat32".
FatType wanted_type(const family::CardRule& rule);

}  // namespace fettle::card
