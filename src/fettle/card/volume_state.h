// Inside of Volume: the FAT, read in pages, and chains, always bounded.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fettle/card/reader.h"

namespace fettle::card {

// What a FAT entry means for a chain.
struct Link {
    enum Kind { next, end, free, bad, out_of_range } kind = free;
    std::uint32_t cluster = 0;  // for next
};

struct Volume::State {
    BlockDevice& device;
    std::uint64_t at = 0;  // bytes
    BootSector boot;
    FatType type = FatType::fat12;  // how it is read: by the cluster count, unless told otherwise

    // One page of one FAT copy.
    std::uint64_t page_at = ~std::uint64_t{0};
    Bytes page;

    std::uint64_t sector_at(std::uint64_t sector) const { return at + sector * boot.bytes_per_sector; }
    std::uint64_t cluster_bytes() const { return std::uint64_t{boot.sectors_per_cluster} * boot.bytes_per_sector; }
    std::uint64_t cluster_at(std::uint32_t c) const {
        return sector_at(boot.first_data_sector()) + std::uint64_t{c - 2} * cluster_bytes();
    }
    // Clusters that lie on the device, counted from the first.
    std::uint64_t clusters_on_device() const;
    bool in_range(std::uint32_t c) const { return c >= 2 && c - 2 < boot.clusters; }

    Result<std::uint32_t> entry(std::uint32_t cluster, std::uint32_t copy);
    Result<Link> follow(std::uint32_t cluster);
    Result<Byte> fat_byte(std::uint64_t offset_in_copy, std::uint32_t copy);
};

}  // namespace fettle::card
