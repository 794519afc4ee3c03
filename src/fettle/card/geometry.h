// Figures of a card: where the partition, the FATs and the data area start, and how large a cluster is. Pure
// arithmetic over the FAT specification 1.03 and the SD Association's layout figures; see docs/formats/fat32.md.
#pragma once

#include <cstdint>

#include "fettle/base/result.h"
#include "fettle/family/family.h"

namespace fettle::card {

inline constexpr std::uint64_t sector_bytes = 512;

enum class FatType { fat12, fat16, fat32 };
const char* words(FatType t);  // "FAT12", "FAT16", "FAT32"

// By the count of data clusters alone (specification 1.03, "FAT Type Determination").
FatType fat_type(std::uint64_t clusters);

// Sectors one FAT32 copy takes by the specification's formula: never too small, at times a few sectors too large.
std::uint64_t fat32_sectors(std::uint64_t volume_sectors, std::uint64_t reserved, std::uint32_t sectors_per_cluster,
                            std::uint32_t copies);

// The specification's table for FAT32 volumes of this many sectors; 0: too small for FAT32.
std::uint32_t fat32_table_sectors_per_cluster(std::uint64_t volume_sectors);

// The SD Association's boundary unit, in sectors, for a card of this capacity.
std::uint64_t boundary_unit_sectors(std::uint64_t card_bytes);

// Fewest and most clusters we make a FAT32 volume with: 16 away from the border with FAT16, because not all readers
// count alike.
inline constexpr std::uint64_t fat32_fewest_clusters = 65525 + 16;
inline constexpr std::uint64_t fat32_most_clusters = 268435444;

// All in sectors of 512 bytes, absolute on the card unless said otherwise.
struct Geometry {
    std::uint64_t card_sectors = 0;
    std::uint64_t partition_start = 0;
    std::uint64_t partition_sectors = 0;
    std::uint32_t reserved = 0;  // from the partition's start to the first FAT
    std::uint32_t fat_sectors = 0;
    std::uint32_t sectors_per_cluster = 0;
    std::uint64_t clusters = 0;
    std::uint8_t partition_type = 0;  // 0x0B or 0x0C

    static constexpr std::uint32_t fat_copies = 2;
    std::uint64_t fat_start(std::uint32_t copy) const {
        return partition_start + reserved + copy * std::uint64_t{fat_sectors};
    }
    std::uint64_t data_start() const { return fat_start(fat_copies); }
    std::uint64_t cluster_bytes() const { return sectors_per_cluster * sector_bytes; }
    bool operator==(const Geometry&) const = default;
};

// The one FAT32 geometry for a card of this size under this rule: the specification's cluster size where the family
// takes it and it gives a FAT32 volume, else the nearest that does. bad_input: `card-too-small`, `card-too-large`,
// `card-file-system-not-built` (the family wants something other than an MBR with FAT32).
Result<Geometry> plan_geometry(std::uint64_t card_bytes, const family::CardRule& rule);

}  // namespace fettle::card
