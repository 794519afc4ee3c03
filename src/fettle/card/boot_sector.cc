#include <fmt/core.h>

#include <algorithm>
#include <bit>

#include "fettle/base/text.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

tl::unexpected<Error> wrong(std::string_view field, std::uint64_t found, std::string_view allowed) {
    return bad_input("boot-sector-wrong", fmt::format("boot sector, {}", field),
                     fmt::format("holds {}, allowed is {}", found, allowed), "lay the card again");
}

}  // namespace

std::uint64_t BootSector::root_sectors() const {
    return (std::uint64_t{root_entries} * 32 + bytes_per_sector - 1) / bytes_per_sector;
}

std::uint64_t BootSector::first_data_sector() const {
    return type == FatType::exfat ? heap_sector : reserved + fat_copies * fat_sectors + root_sectors();
}

Result<BootSector> parse_boot_sector(ByteView s) {
    if (s.size() < sector_bytes)
        return bad_input("boot-sector-wrong", "boot sector", "is not whole", "lay the card again");
    if (s[510] != 0x55 || s[511] != 0xAA) return wrong("mark at byte 510", load_le16(s, 510), "43605 (55 AA)");
    if (s[0] != 0xEB && s[0] != 0xE9) return wrong("jump at byte 0", s[0], "235 or 233");
    BootSector b;
    b.bytes_per_sector = load_le16(s, 11);
    if (b.bytes_per_sector < 512 || b.bytes_per_sector > 4096 || !std::has_single_bit(b.bytes_per_sector))
        return wrong("bytes per sector", b.bytes_per_sector, "512, 1024, 2048 or 4096");
    b.sectors_per_cluster = s[13];
    if (!std::has_single_bit(b.sectors_per_cluster))
        return wrong("sectors per cluster", b.sectors_per_cluster, "a power of two from 1 to 128");
    b.reserved = load_le16(s, 14);
    if (b.reserved == 0) return wrong("reserved sectors", 0, "at least 1");
    b.fat_copies = s[16];
    if (b.fat_copies == 0) return wrong("FAT copies", 0, "at least 1");
    b.root_entries = load_le16(s, 17);
    if (s[21] != 0xF0 && s[21] < 0xF8) return wrong("media", s[21], "240 or 248 to 255");
    const std::uint32_t total16 = load_le16(s, 19), fat16 = load_le16(s, 22);
    b.hidden = load_le32(s, 28);
    b.total_sectors = total16 != 0 ? total16 : load_le32(s, 32);
    b.wide = b.root_entries == 0 && fat16 == 0;
    b.fat_sectors = fat16 != 0 ? fat16 : load_le32(s, 36);
    if (b.total_sectors == 0) return wrong("total sectors", 0, "more than none");
    if (b.fat_sectors == 0) return wrong("FAT size", 0, "more than none");
    if (b.wide) {
        b.ext_flags = load_le16(s, 40);
        b.version = load_le16(s, 42);
        b.root_cluster = load_le32(s, 44) & 0x0FFFFFFF;
        b.fsinfo_sector = load_le16(s, 48);
        b.backup_sector = load_le16(s, 50);
    }
    const std::size_t extended = b.wide ? 66 : 38;
    if (s[extended] == 0x29) {
        b.serial = load_le32(s, extended + 1);
        b.label = printable(trim(as_text(s.subspan(extended + 5, 11))));
    }
    if (b.first_data_sector() >= b.total_sectors)
        return wrong("total sectors", b.total_sectors,
                     fmt::format("more than the {} that the FATs and what is before them take", b.first_data_sector()));
    b.clusters = (b.total_sectors - b.first_data_sector()) / b.sectors_per_cluster;
    b.type = fat_type(b.clusters);
    if (b.clusters > fat32_most_clusters) return wrong("cluster count", b.clusters, "up to 268435444");
    const FatType layout = b.wide ? FatType::fat32 : b.type == FatType::fat32 ? FatType::fat16 : b.type;
    const std::uint64_t bits = layout == FatType::fat32 ? 32 : layout == FatType::fat16 ? 16 : 12;
    const std::uint64_t needed = ((b.clusters + 2) * bits + 7) / 8;
    if (b.fat_sectors * b.bytes_per_sector < needed)
        return wrong("FAT size", b.fat_sectors,
                     fmt::format("at least {} sectors for {} clusters",
                                 (needed + b.bytes_per_sector - 1) / b.bytes_per_sector, b.clusters));
    return b;
}

Result<BootSector> parse_exfat_boot_sector(ByteView s) {
    if (s.size() < sector_bytes)
        return bad_input("boot-sector-wrong", "boot sector", "is not whole", "lay the card again");
    if (as_text(s.subspan(3, 8)) != "EXFAT   ")
        return bad_input("boot-sector-wrong", "boot sector, name at byte 3", "is not 'EXFAT   '", "lay the card again");
    if (s[510] != 0x55 || s[511] != 0xAA) return wrong("mark at byte 510", load_le16(s, 510), "43605 (55 AA)");
    for (std::size_t i = 11; i < 64; ++i)
        if (s[i] != 0) return wrong(fmt::format("MustBeZero, byte {}", i), s[i], "0");
    if (s[105] != 1) return wrong("file system revision", s[105], "1");
    BootSector b;
    b.type = FatType::exfat;
    const unsigned sector_shift = s[108], cluster_shift = s[109];
    if (sector_shift < 9 || sector_shift > 12) return wrong("bytes per sector shift", sector_shift, "9 to 12");
    if (cluster_shift > 25 - sector_shift)
        return wrong("sectors per cluster shift", cluster_shift, fmt::format("0 to {}", 25 - sector_shift));
    b.bytes_per_sector = 1u << sector_shift;
    b.sectors_per_cluster = 1u << cluster_shift;
    b.partition_offset = load_le64(s, 64);
    b.total_sectors = load_le64(s, 72);
    b.reserved = load_le32(s, 80);
    b.fat_sectors = load_le32(s, 84);
    b.heap_sector = load_le32(s, 88);
    b.clusters = load_le32(s, 92);
    b.root_cluster = load_le32(s, 96);
    b.serial = load_le32(s, 100);
    b.volume_flags = load_le16(s, 106);
    b.fat_copies = s[110];
    if (b.fat_copies < 1 || b.fat_copies > 2) return wrong("FAT copies", b.fat_copies, "1 or 2");
    if (b.total_sectors < (1u << 20) / b.bytes_per_sector || b.total_sectors > std::uint64_t{1} << 55)
        return wrong("volume length", b.total_sectors,
                     fmt::format("at least {} sectors", (1u << 20) / b.bytes_per_sector));
    if (b.reserved < 24) return wrong("FAT offset", b.reserved, "at least 24");
    if (b.heap_sector < b.reserved + b.fat_sectors * b.fat_copies || b.heap_sector >= b.total_sectors)
        return wrong("cluster heap offset", b.heap_sector, "behind the FATs and within the volume");
    const std::uint64_t most =
        std::min<std::uint64_t>(0xFFFFFFF5, (b.total_sectors - b.heap_sector) / b.sectors_per_cluster);
    if (b.clusters == 0 || b.clusters > most) return wrong("cluster count", b.clusters, fmt::format("1 to {}", most));
    const std::uint64_t needed = ((b.clusters + 2) * 4 + b.bytes_per_sector - 1) / b.bytes_per_sector;
    if (b.fat_sectors < needed) return wrong("FAT length", b.fat_sectors, fmt::format("at least {} sectors", needed));
    if (b.root_cluster < 2 || b.root_cluster > b.clusters + 1)
        return wrong("first cluster of the root folder", b.root_cluster, fmt::format("2 to {}", b.clusters + 1));
    return b;
}

}  // namespace fettle::card
