// FAT16 and FAT32: folder entries and boot sectors.
#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/card/layout_parts.h"

namespace fettle::card {
namespace {

constexpr Byte attribute_folder = 0x10, attribute_label = 0x08, attribute_archive = 0x20, attribute_long = 0x0F;
constexpr std::size_t entry_bytes = 32;
constexpr std::size_t folder_most_entries = 65536;  // specification 1.03: 2 MiB of entries

void put_entry(Bytes& out, const ShortName& name, Byte attributes, std::uint32_t cluster, std::uint32_t size) {
    Byte e[entry_bytes] = {};
    std::copy(name.begin(), name.end(), e);
    e[11] = attributes;
    const std::uint16_t date = fat_date(1980, 1, 1);  // fixed, so that the same release gives the same image
    store_le16(e, 16, date);
    store_le16(e, 18, date);
    store_le16(e, 24, date);
    store_le16(e, 20, static_cast<std::uint16_t>(cluster >> 16));
    store_le16(e, 26, static_cast<std::uint16_t>(cluster));
    store_le32(e, 28, size);
    append(out, e);
}

void put_long_name(Bytes& out, std::string_view name, const ShortName& of) {
    static constexpr std::size_t places[13] = {1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30};
    std::u16string units = *to_utf16(name);
    if (units.size() % 13 != 0) units.push_back(0);
    while (units.size() % 13 != 0) units.push_back(0xFFFF);
    const std::size_t pieces = units.size() / 13;
    for (std::size_t p = pieces; p-- > 0;) {
        Byte e[entry_bytes] = {};
        e[0] = static_cast<Byte>((p + 1) | (p + 1 == pieces ? 0x40 : 0));
        e[11] = attribute_long;
        e[13] = long_name_sum(of);
        for (std::size_t k = 0; k < 13; ++k) store_le16(e, places[k], units[p * 13 + k]);
        append(out, e);
    }
}

Result<std::size_t> count_entries(const TreeFolder& f, const std::vector<ShortName>& names, bool root, bool label,
                                  std::size_t most) {
    std::size_t n = root ? (label ? 1 : 0) : 2;
    for (std::size_t i = 0; i < f.items.size(); ++i)
        n += 1 + (needs_long_name(f.items[i].name, names[i]) ? (to_utf16(f.items[i].name)->size() + 12) / 13 : 0);
    if (n > most)
        return bad_input("folder-too-large", f.items.empty() ? "" : printable(f.items.front().name),
                         fmt::format("its folder needs {} entries, {} takes {}", n,
                                     most < folder_most_entries ? "the top folder of FAT16" : "FAT", most),
                         "this release cannot be laid on this file system");
    return n;
}

ShortName padded(std::string_view text) {
    ShortName out;
    out.fill(' ');
    std::copy(text.begin(), text.end(), out.begin());
    return out;
}

// The boot sector's fields that FAT16 and FAT32 share, and those behind them.
void fill_boot_sector(ByteSpan b, const Geometry& g, const ShortName& label, std::uint32_t serial) {
    const bool wide = g.type == FatType::fat32;
    b[0] = 0xEB, b[1] = wide ? 0x58 : 0x3C, b[2] = 0x90;
    const std::string_view maker = "MSWIN4.1";  // the name the specification recommends for all
    std::copy(maker.begin(), maker.end(), b.begin() + 3);
    store_le16(b, 11, sector_bytes);
    b[13] = static_cast<Byte>(g.sectors_per_cluster);
    store_le16(b, 14, static_cast<std::uint16_t>(g.reserved));
    b[16] = static_cast<Byte>(g.fat_copies);
    store_le16(b, 17, static_cast<std::uint16_t>(g.root_entries));
    const bool short_total = !wide && g.partition_sectors < 65536;
    store_le16(b, 19, static_cast<std::uint16_t>(short_total ? g.partition_sectors : 0));
    b[21] = 0xF8;
    store_le16(b, 22, static_cast<std::uint16_t>(wide ? 0 : g.fat_sectors));
    store_le16(b, 24, 63);
    store_le16(b, 26, 255);
    store_le32(b, 28, static_cast<std::uint32_t>(g.partition_start));
    store_le32(b, 32, static_cast<std::uint32_t>(short_total ? 0 : g.partition_sectors));
    if (wide) {
        store_le32(b, 36, g.fat_sectors);
        store_le32(b, 44, 2);
        store_le16(b, 48, 1);
        store_le16(b, 50, 6);
    }
    const std::size_t at = wide ? 64 : 36;
    b[at] = 0x80;
    b[at + 2] = 0x29;
    store_le32(b, at + 3, serial);
    std::copy(label.begin(), label.end(), b.begin() + static_cast<std::ptrdiff_t>(at + 7));
    const std::string_view type = wide ? "FAT32   " : "FAT16   ";
    std::copy(type.begin(), type.end(), b.begin() + static_cast<std::ptrdiff_t>(at + 18));
    b[510] = 0x55, b[511] = 0xAA;
}

// FAT16: one sector. FAT32: sectors 0 to 8: boot sector, FSInfo and third sector, and their backups from sector 6 on.
Bytes boot_sectors(const Layout& l, const ShortName& label, std::uint32_t serial) {
    const Geometry& g = l.geometry;
    const bool wide = g.type == FatType::fat32;
    Bytes out((wide ? 9 : 1) * sector_bytes);
    fill_boot_sector(ByteSpan(out).first(sector_bytes), g, label, serial);
    if (!wide) return out;
    const ByteSpan info(out.data() + sector_bytes, sector_bytes);
    const std::uint64_t used = l.next_free - 2;
    store_le32(info, 0, 0x41615252);
    store_le32(info, 484, 0x61417272);
    store_le32(info, 488, static_cast<std::uint32_t>(g.clusters - used));
    store_le32(info, 492, used == g.clusters ? 0xFFFFFFFFu : l.next_free);
    for (std::size_t sector = 1; sector < 3; ++sector) {
        out[sector * sector_bytes + 510] = 0x55;
        out[sector * sector_bytes + 511] = 0xAA;
    }
    std::copy_n(out.begin(), 3 * sector_bytes, out.begin() + 6 * sector_bytes);
    return out;
}

void put_folder(Bytes& out, const Tree& tree, std::size_t index, const std::vector<ShortName>& names, const Layout& l,
                const std::vector<FileToPlace>& files, const std::string& label) {
    const TreeFolder& f = tree.folders[index];
    if (index == 0) {
        if (!label.empty()) put_entry(out, padded(label), attribute_label, 0, 0);
    } else {
        const std::uint32_t parent = f.parent == 0 ? 0 : tree.folders[f.parent].first;  // 0 stands for the root
        put_entry(out, padded("."), attribute_folder, f.first, 0);
        put_entry(out, padded(".."), attribute_folder, parent, 0);
    }
    for (std::size_t k = 0; k < f.items.size(); ++k) {
        const TreeItem& item = f.items[k];
        if (needs_long_name(item.name, names[k])) put_long_name(out, item.name, names[k]);
        if (item.folder)
            put_entry(out, names[k], attribute_folder, tree.folders[item.index].first, 0);
        else
            put_entry(out, names[k], attribute_archive, l.first[item.index],
                      static_cast<std::uint32_t>(files[item.index].size));
    }
}

}  // namespace

Status lay_out_fat(Layout& l, Tree& tree, const std::vector<FileToPlace>& files, const std::string& label,
                   std::uint32_t serial) {
    // Names and sizes of the folders first, then clusters, then their entries, which hold cluster numbers.
    const Geometry& g = l.geometry;
    std::vector<std::vector<ShortName>> names;
    Clusters clusters{g};
    for (std::size_t i = 0; i < tree.folders.size(); ++i) {
        TreeFolder& f = tree.folders[i];
        std::vector<std::string> long_names;
        for (const auto& item : f.items) long_names.push_back(item.name);
        auto shorts = short_names(long_names);
        if (!shorts) return pass(shorts);
        const bool fixed = i == 0 && g.root_entries != 0;
        const auto entries =
            count_entries(f, *shorts, i == 0, !label.empty(), fixed ? g.root_entries : folder_most_entries);
        if (!entries) return pass(entries);
        names.push_back(std::move(*shorts));
        if (fixed) continue;
        f.clusters = std::max<std::uint64_t>(1, l.clusters_of(*entries * entry_bytes));
        f.first = clusters.take(f.clusters);
        if (Status s = clusters.fits(); !s) return s;
        l.last_of_run.push_back(static_cast<std::uint32_t>(clusters.next - 1));
    }
    const std::uint64_t files_from = clusters.next;
    for (std::size_t i = 0; i < files.size(); ++i) {
        if (files[i].size == 0) continue;
        l.first[i] = clusters.take(l.clusters_of(files[i].size));
        l.last_of_run.push_back(static_cast<std::uint32_t>(std::min<std::uint64_t>(clusters.next - 1, 0xFFFFFFFF)));
    }
    if (Status s = clusters.fits(); !s) return s;
    l.next_free = static_cast<std::uint32_t>(clusters.next);

    l.folders.reserve((files_from - 2) * g.cluster_bytes());
    for (std::size_t i = 0; i < tree.folders.size(); ++i) {
        const bool fixed = i == 0 && g.root_entries != 0;
        if (!fixed) l.folders.resize((tree.folders[i].first - 2) * g.cluster_bytes());
        put_folder(fixed ? l.root_area : l.folders, tree, i, names[i], l, files, label);
    }
    l.folders.resize((files_from - 2) * g.cluster_bytes());
    l.root_area.resize(g.root_sectors() * sector_bytes);
    l.boot = boot_sectors(l, padded(label.empty() ? "NO NAME" : label), serial);
    return {};
}

}  // namespace fettle::card
