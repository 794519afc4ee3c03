// Inside of Volume: the FAT, read in pages, and chains, always bounded.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "fettle/card/reader.h"

namespace fettle::card {

// What a FAT entry means for a chain.
struct Link {
    enum Kind { next, end, free, bad, out_of_range } kind = free;
    std::uint32_t cluster = 0;  // for next; for out_of_range what stands there
};

// A part of the card kept in memory, so that chains that jump about do not read the same FAT sectors again and again.
// Direct-mapped: 256 pages of 64 KiB, 16 MiB at most.
class Pages {
public:
    static constexpr std::size_t page_bytes = 64u << 10, slots = 256;

    // The bytes from `at` to the end of its page, or to the end of the device; at least one.
    Result<ByteView> from(BlockDevice& device, std::uint64_t at);

private:
    struct Page {
        std::uint64_t index = ~std::uint64_t{0};
        Bytes bytes;
    };
    std::vector<Page> pages_{slots};
};

struct Volume::State {
    BlockDevice& device;
    std::uint64_t at = 0;  // bytes
    BootSector boot;
    FatType type = FatType::fat12;  // how it is read: by the cluster count, unless told otherwise
    Pages pages{};

    std::uint64_t sector_at(std::uint64_t sector) const { return at + sector * boot.bytes_per_sector; }
    std::uint64_t cluster_bytes() const { return std::uint64_t{boot.sectors_per_cluster} * boot.bytes_per_sector; }
    std::uint64_t cluster_at(std::uint32_t c) const {
        return sector_at(boot.first_data_sector()) + std::uint64_t{c - 2} * cluster_bytes();
    }
    // Clusters that lie on the device, counted from the first.
    std::uint64_t clusters_on_device() const;
    bool in_range(std::uint32_t c) const { return c >= 2 && c - 2 < boot.clusters; }
    // Where a FAT copy begins; the copy that counts (specification 1.03, BPB_ExtFlags; exFAT 3.1, VolumeFlags).
    std::uint64_t fat_at(std::uint32_t copy) const { return sector_at(boot.reserved + copy * boot.fat_sectors); }
    std::uint32_t active_fat() const;

    Result<std::uint32_t> entry(std::uint32_t cluster, std::uint32_t copy);
    Result<Link> follow(std::uint32_t cluster);
    Link meaning(std::uint32_t entry) const;
};

// The two walks over the folders; each fills what its file system has.
Result<Listing> list_fat(Volume::State& state, bool scan_fat);
Result<Listing> list_exfat(Volume::State& state, bool scan_fat);

// What the walks share: nodes, flaws and their bounds.
struct Gathered {
    static constexpr std::size_t most_depth = 64, most_nodes = 200000, most_flaws = 1000;
    static constexpr std::size_t most_path_bytes = 16u << 20, most_flaw_bytes = 4u << 20;

    Listing out;
    std::size_t path_bytes = 0, flaw_bytes = 0;
    bool full = false;

    void flaw(FlawKind kind, const std::string& path, std::string text);
    // False when there is no room for this node; said once.
    bool room_for(const Node& n, const std::string& folder);
    static std::string joined(const std::string& folder, const std::string& name) {
        return folder.empty() ? name : folder + "/" + name;
    }
};

}  // namespace fettle::card
