// Partition tables, and file systems by their magic.
#include <algorithm>
#include <string_view>

#include "fettle/card/audit_parts.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t gpt_most_entries = 128;

bool has_text(ByteView b, std::size_t at, std::string_view text) {
    const ByteView wanted = as_bytes(text);
    return at + wanted.size() <= b.size() && std::equal(wanted.begin(), wanted.end(), b.subspan(at).begin());
}

// The table's four entries, if they look like a table at all: a boot sector has code where the entries would be.
std::vector<Partition> mbr_entries(ByteView sector0) {
    std::vector<Partition> out;
    unsigned entry = 0;
    for (std::size_t at = 446; at < 510; at += 16) {
        ++entry;
        const Byte status = sector0[at];
        if (status != 0x00 && status != 0x80) return {};
        const Partition p{sector0[at + 4], load_le32(sector0, at + 8), load_le32(sector0, at + 12), entry};
        if (p.type != 0 && p.start != 0 && p.sectors != 0) out.push_back(p);
    }
    return out;
}

Status read_gpt(BlockDevice& device, Table& table) {
    Bytes header(sector_bytes);
    if (device.size_bytes() < 2 * sector_bytes) return {};
    if (Status s = device.read_at(sector_bytes, header); !s) return s;
    if (!has_text(header, 0, "EFI PART")) return {};
    const std::uint64_t at = load_le64(header, 72);
    const std::uint64_t size = load_le32(header, 84);
    const std::uint64_t count = std::min<std::uint64_t>(load_le32(header, 80), gpt_most_entries);
    if (size < 128 || size > 4096 || at >= device.size_bytes() / sector_bytes) return {};
    Bytes entry(128);
    for (std::uint64_t i = 0; i < count; ++i) {
        const std::uint64_t place = at * sector_bytes + i * size;
        if (place + entry.size() > device.size_bytes()) return {};
        if (Status s = device.read_at(place, entry); !s) return s;
        if (std::all_of(entry.begin(), entry.begin() + 16, [](Byte b) { return b == 0; })) continue;
        const std::uint64_t first = load_le64(entry, 32), last = load_le64(entry, 40);
        if (first != 0 && last >= first)
            table.partitions.push_back({0, first, last - first + 1, static_cast<unsigned>(i) + 1});
    }
    return {};
}

}  // namespace

Result<Table> read_table(BlockDevice& device) {
    Table table;
    Bytes sector0(sector_bytes);
    if (device.size_bytes() < sector_bytes) return table;
    if (Status s = device.read_at(0, sector0); !s) return pass(s);
    if (sector0[510] != 0x55 || sector0[511] != 0xAA) return table;
    if (has_text(sector0, 3, "EXFAT   ") || has_text(sector0, 3, "NTFS    ") || parse_boot_sector(sector0))
        return table;
    table.partitions = mbr_entries(sector0);
    if (table.partitions.empty()) return table;
    table.kind = TableKind::mbr;
    const bool protective = std::any_of(table.partitions.begin(), table.partitions.end(),
                                        [](const Partition& p) { return p.type == 0xEE; });
    if (!protective) return table;
    table.kind = TableKind::gpt;
    table.partitions.clear();
    if (Status s = read_gpt(device, table); !s) return pass(s);
    return table;
}

bool lacks_mark_alone(ByteView sector) {
    if (sector.size() < sector_bytes || (sector[510] == 0x55 && sector[511] == 0xAA)) return false;
    Bytes marked(sector.begin(), sector.end());
    marked[510] = 0x55;
    marked[511] = 0xAA;
    return parse_boot_sector(marked) || parse_exfat_boot_sector(marked) || !mbr_entries(marked).empty();
}

std::string file_system_at(BlockDevice& device, std::uint64_t at_bytes) {
    const std::uint64_t size = device.size_bytes();
    const auto there = [&](std::uint64_t offset, std::string_view magic) {
        Bytes b(magic.size());
        if (at_bytes >= size || offset >= size - at_bytes || b.size() > size - at_bytes - offset) return false;
        return device.read_at(at_bytes + offset, b).has_value() && has_text(b, 0, magic);
    };
    if (there(3, "EXFAT   ")) return "exFAT";
    if (there(3, "NTFS    ")) return "NTFS";
    if (there(1024 + 56, std::string_view("\x53\xEF", 2))) {  // ext superblock; which of the three, by its features
        Bytes features(12);
        if (!device.read_at(at_bytes + 1024 + 92, features)) return "ext2";
        if (load_le32(features, 4) & 0x40) return "ext4";        // extents
        return load_le32(features, 0) & 0x04 ? "ext3" : "ext2";  // a journal
    }
    if (there(1024, "H+") || there(1024, "HX")) return "HFS+";
    if (there(32, "NXSB")) return "APFS";
    if (there(32769, "CD001")) return "ISO 9660";
    if (there(1024, std::string_view("\x10\x20\xF5\xF2", 4))) return "F2FS";
    if (there(0, "XFSB")) return "XFS";
    if (there(65536 + 64, "_BHRfS_M")) return "Btrfs";
    Bytes sector(sector_bytes);
    if (at_bytes < size && size - at_bytes >= sector.size() && device.read_at(at_bytes, sector) &&
        sector[510] == 0x55 && sector[511] == 0xAA && (sector[0] == 0xEB || sector[0] == 0xE9) && sector[21] >= 0xF0)
        return "FAT";
    return {};
}

}  // namespace fettle::card
