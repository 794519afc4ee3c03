// exFAT: entry sets, bitmap, up-case table and both boot regions, by the exFAT specification. The bitmap, the up-case
// table and the root folder are chains in the FAT, as they must be; everything else is one run of clusters and says so
// in its stream entry (NoFatChain), so the FAT holds nothing of it.
#include <fmt/core.h>

#include <bit>

#include "fettle/base/text.h"
#include "fettle/card/exfat.h"
#include "fettle/card/layout_parts.h"

namespace fettle::card {
namespace {

constexpr std::size_t entry_bytes = exfat::entry_bytes;
constexpr std::uint64_t folder_most_bytes = 256u << 20;  // section 9
constexpr std::uint16_t attribute_folder = 0x10, attribute_archive = 0x20;

std::size_t entries_of(const std::string& name) {
    return 2 + (to_utf16(name)->size() + 14) / 15;
}

void put_label(Bytes& out, const std::string& label) {
    Byte e[entry_bytes] = {exfat::label_entry, static_cast<Byte>(label.size())};
    for (std::size_t i = 0; i < label.size(); ++i) store_le16(e, 2 + 2 * i, static_cast<std::uint16_t>(label[i]));
    append(out, e);
}

void put_system(Bytes& out, Byte type, std::uint32_t first, std::uint64_t size, std::uint32_t sum) {
    Byte e[entry_bytes] = {type};
    store_le32(e, 4, sum);  // of the up-case table; reserved in the bitmap's entry
    store_le32(e, 20, first);
    store_le64(e, 24, size);
    append(out, e);
}

// One file or folder: file entry, stream entry, name entries.
void put_set(Bytes& out, const std::string& name, std::uint16_t attributes, std::uint32_t first, std::uint64_t size) {
    const std::u16string wide = *to_utf16(name);
    const std::size_t secondary = entries_of(name) - 1;
    Bytes set((secondary + 1) * entry_bytes);
    set[0] = exfat::file_entry;
    set[1] = static_cast<Byte>(secondary);
    store_le16(set, 4, attributes);
    // Fixed, so that the same release gives the same image; 80h: the times are UTC.
    const auto stamp = static_cast<std::uint32_t>(fat_date(1980, 1, 1)) << 16;
    for (const std::size_t at : {8, 12, 16}) store_le32(set, at, stamp);
    for (const std::size_t at : {22, 23, 24}) set[at] = 0x80;
    const ByteSpan stream = ByteSpan(set).subspan(entry_bytes);
    stream[0] = exfat::stream_entry;
    stream[1] = exfat::allocation_possible | (first != 0 ? exfat::no_fat_chain : 0);
    stream[3] = static_cast<Byte>(wide.size());
    store_le16(stream, 4, exfat::name_hash(exfat::upcased(wide, exfat::recommended_upcase())));
    store_le64(stream, 8, size);
    store_le32(stream, 20, first);
    store_le64(stream, 24, size);
    for (std::size_t i = 0; i < wide.size(); ++i) {
        const std::size_t entry = (2 + i / 15) * entry_bytes;
        set[entry] = exfat::name_entry;
        store_le16(set, entry + 2 + 2 * (i % 15), wide[i]);
    }
    store_le16(set, 2, exfat::set_sum(set));
    append(out, set);
}

Bytes bitmap_of(std::uint64_t clusters, std::uint64_t used) {
    Bytes out((clusters + 7) / 8);
    for (std::uint64_t i = 0; i < used; ++i) out[i / 8] |= static_cast<Byte>(1u << (i % 8));
    return out;
}

// Twelve sectors, twice (section 3).
Bytes boot_regions(const Layout& l, std::uint32_t root, std::uint32_t serial) {
    const Geometry& g = l.geometry;
    Bytes out(exfat::boot_region_sectors * sector_bytes);
    const ByteSpan b = ByteSpan(out).first(sector_bytes);
    const std::string_view head(
        "\xEB\x76\x90"
        "EXFAT   ",
        11);
    std::copy(head.begin(), head.end(), b.begin());
    store_le64(b, 64, g.partition_start);
    store_le64(b, 72, g.partition_sectors);
    store_le32(b, 80, g.reserved);
    store_le32(b, 84, g.fat_sectors);
    store_le32(b, 88, static_cast<std::uint32_t>(g.data_start() - g.partition_start));
    store_le32(b, 92, static_cast<std::uint32_t>(g.clusters));
    store_le32(b, 96, root);
    store_le32(b, 100, serial);
    store_le16(b, 104, 0x0100);
    b[108] = 9;
    b[109] = static_cast<Byte>(std::countr_zero(g.sectors_per_cluster));
    b[110] = 1;
    b[111] = 0x80;
    b[112] = static_cast<Byte>((l.next_free - 2) * std::uint64_t{100} / g.clusters);
    std::fill(b.begin() + 120, b.begin() + 510, Byte{0xF4});  // boot code: halt, as the specification suggests
    for (std::size_t sector = 0; sector < 9; ++sector) {
        out[sector * sector_bytes + 510] = 0x55;
        out[sector * sector_bytes + 511] = 0xAA;
    }
    const std::uint32_t sum = exfat::boot_sum(ByteView(out).first(11 * sector_bytes));
    for (std::size_t i = 0; i < sector_bytes; i += 4) store_le32(out, 11 * sector_bytes + i, sum);
    const Bytes main = out;
    append(out, main);
    return out;
}

}  // namespace

Status lay_out_exfat(Layout& l, Tree& tree, const std::vector<FileToPlace>& files, const std::string& label,
                     std::uint32_t serial) {
    const Geometry& g = l.geometry;
    const std::uint64_t cluster = g.cluster_bytes();
    const Bytes upcase = exfat::recommended_upcase_compressed();
    Clusters clusters{g};
    const std::uint64_t bitmap_bytes = (g.clusters + 7) / 8;
    const std::uint32_t bitmap_at = clusters.take(l.clusters_of(bitmap_bytes));
    l.last_of_run.push_back(static_cast<std::uint32_t>(clusters.next - 1));
    const std::uint32_t upcase_at = clusters.take(l.clusters_of(upcase.size()));
    l.last_of_run.push_back(static_cast<std::uint32_t>(clusters.next - 1));
    for (std::size_t i = 0; i < tree.folders.size(); ++i) {
        TreeFolder& f = tree.folders[i];
        std::uint64_t entries = i == 0 ? 2 + (label.empty() ? 0 : 1) : 0;
        for (const auto& item : f.items) entries += entries_of(item.name);
        if (entries * entry_bytes > folder_most_bytes)
            return bad_input(
                "folder-too-large", printable(f.items.front().name),
                fmt::format("its folder needs {} entries, exFAT takes {}", entries, folder_most_bytes / entry_bytes),
                "this release cannot be laid on this file system");
        f.clusters = std::max<std::uint64_t>(1, l.clusters_of(entries * entry_bytes));
        f.first = clusters.take(f.clusters);
        if (Status s = clusters.fits(); !s) return s;
        if (i == 0) l.last_of_run.push_back(static_cast<std::uint32_t>(clusters.next - 1));
    }
    const std::uint64_t files_from = clusters.next;
    for (std::size_t i = 0; i < files.size(); ++i)
        if (files[i].size != 0) l.first[i] = clusters.take(l.clusters_of(files[i].size));
    if (Status s = clusters.fits(); !s) return s;
    l.next_free = static_cast<std::uint32_t>(clusters.next);

    const auto pad_to = [&](std::uint32_t at) { l.folders.resize((at - 2) * cluster); };
    append(l.folders, bitmap_of(g.clusters, l.next_free - 2));
    pad_to(upcase_at);
    append(l.folders, upcase);
    for (std::size_t i = 0; i < tree.folders.size(); ++i) {
        const TreeFolder& f = tree.folders[i];
        pad_to(f.first);
        if (i == 0) {
            if (!label.empty()) put_label(l.folders, label);
            put_system(l.folders, exfat::bitmap_entry, bitmap_at, bitmap_bytes, 0);
            put_system(l.folders, exfat::upcase_entry, upcase_at, upcase.size(), exfat::table_sum(upcase));
        }
        for (const auto& item : f.items) {
            if (item.folder) {
                const TreeFolder& to = tree.folders[item.index];
                put_set(l.folders, item.name, attribute_folder, to.first, to.clusters * cluster);
            } else {
                put_set(l.folders, item.name, attribute_archive, l.first[item.index], files[item.index].size);
            }
        }
    }
    l.folders.resize((files_from - 2) * cluster);
    l.boot = boot_regions(l, tree.folders[0].first, serial);
    return {};
}

}  // namespace fettle::card
