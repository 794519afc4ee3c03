#include "fettle/card/layout.h"

#include <fmt/core.h>

#include <algorithm>
#include <unordered_map>

#include "fettle/base/text.h"
#include "fettle/card/fat_names.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

constexpr std::uint32_t end_of_chain = 0x0FFFFFFF;
constexpr Byte attribute_folder = 0x10, attribute_label = 0x08, attribute_archive = 0x20, attribute_long = 0x0F;
constexpr std::size_t entry_bytes = 32;
constexpr std::size_t folder_most_entries = 65536;  // specification 1.03: 2 MiB of entries
constexpr std::uint64_t fat_largest_file = 0xFFFFFFFF;

struct Item {
    std::string name;
    std::size_t index = 0;  // of the folder or of the file
    bool folder = false;
};

struct Folder {
    std::vector<Item> items;  // in the order first met
    std::size_t parent = 0;
    Bytes entries;
    std::uint32_t first = 0;
};

struct Tree {
    std::vector<Folder> folders{1};  // the root first
};

Status check_path(const FileToPlace& f, const family::CardRule& rule) {
    const std::string place = printable(f.path);
    for (const auto& part : split(f.path, '/'))
        if (const std::string fault = name_fault(part); !fault.empty())
            return bad_input("name-not-layable", place, fmt::format("the name '{}' {}", printable(part), fault),
                             "a release with this name cannot be laid on FAT; ask its source");
    const std::size_t length = to_utf16(f.path)->size();
    const std::size_t most = std::min<std::size_t>(rule.longest_path, 259);  // specification 1.03: 260 with the final 0
    if (length > most)
        return bad_input("path-too-long", place, fmt::format("has {} characters, {} are taken", length, most),
                         "this release cannot be laid for this family");
    const std::uint64_t largest = std::min(rule.largest_file, fat_largest_file);
    if (f.size > largest)
        return bad_input("file-too-large", place,
                         fmt::format("has {} bytes; the largest file that is taken has {}", f.size, largest),
                         "this release cannot be laid on this file system");
    return {};
}

Result<Tree> grow_tree(const std::vector<FileToPlace>& files, const family::CardRule& rule) {
    struct Met {
        std::size_t index = 0;  // of the folder or the file
        bool folder = false;
        std::string name;
        std::size_t by = 0;  // the file whose path put it there
    };
    Tree t;
    std::unordered_map<std::string, Met> met;  // by the folder's index and the name's key
    for (std::size_t i = 0; i < files.size(); ++i) {
        if (Status s = check_path(files[i], rule); !s) return pass(s);
        const auto parts = split(files[i].path, '/');
        std::size_t at = 0;
        for (std::size_t k = 0; k < parts.size(); ++k) {
            const bool folder = k + 1 < parts.size();
            const std::size_t index = folder ? t.folders.size() : i;
            const auto [it, is_new] =
                met.try_emplace(std::to_string(at) + "/" + name_key(parts[k]), Met{index, folder, parts[k], i});
            if (is_new) {
                t.folders[at].items.push_back({parts[k], index, folder});
                if (folder) t.folders.emplace_back().parent = at;
            } else if (!folder || !it->second.folder || it->second.name != parts[k]) {
                return bad_input("names-clash", printable(files[i].path),
                                 fmt::format("stands against '{}': FAT takes both for one name",
                                             printable(files[it->second.by].path)),
                                 "this release cannot be laid on FAT; ask its source");
            }
            at = it->second.index;
        }
    }
    return t;
}

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

Result<std::size_t> count_entries(const Folder& f, const std::vector<ShortName>& names, bool root, bool label) {
    std::size_t n = root ? (label ? 1 : 0) : 2;
    for (std::size_t i = 0; i < f.items.size(); ++i)
        n += 1 + (needs_long_name(f.items[i].name, names[i]) ? (to_utf16(f.items[i].name)->size() + 12) / 13 : 0);
    if (n > folder_most_entries)
        return bad_input("folder-too-large", f.items.empty() ? "" : printable(f.items.front().name),
                         fmt::format("its folder needs {} entries, FAT takes {}", n, folder_most_entries),
                         "this release cannot be laid on FAT");
    return n;
}

ShortName label_of(const std::string& label) {
    ShortName out;
    out.fill(' ');
    std::copy(label.begin(), label.end(), out.begin());
    return out;
}

// Cylinder, head and sector, as the classic table has them; beyond their reach the highest that exist.
void store_chs(ByteSpan e, std::size_t at, std::uint64_t sector) {
    if (sector >= 1024ull * 255 * 63) {
        e[at] = 0xFE, e[at + 1] = 0xFF, e[at + 2] = 0xFF;
        return;
    }
    const auto cylinder = sector / (255 * 63);
    e[at] = static_cast<Byte>(sector / 63 % 255);
    e[at + 1] = static_cast<Byte>((sector % 63 + 1) | ((cylinder >> 8) << 6));
    e[at + 2] = static_cast<Byte>(cylinder);
}

Bytes table_sector(const Geometry& g, ByteView id) {
    Bytes s(sector_bytes);
    std::copy_n(id.begin() + 4, 4, s.begin() + 440);
    s[446 + 4] = g.partition_type;
    store_chs(s, 446 + 1, g.partition_start);
    store_chs(s, 446 + 5, g.partition_start + g.partition_sectors - 1);
    store_le32(s, 446 + 8, static_cast<std::uint32_t>(g.partition_start));
    store_le32(s, 446 + 12, static_cast<std::uint32_t>(g.partition_sectors));
    s[510] = 0x55, s[511] = 0xAA;
    return s;
}

// Sectors 0 to 8 of the volume: boot sector, FSInfo and third sector, and their backups from sector 6 on.
Bytes boot_sectors(const Layout& l, const ShortName& label, ByteView id) {
    const Geometry& g = l.geometry;
    Bytes out(9 * sector_bytes);
    const ByteSpan b(out.data(), sector_bytes);
    const std::string_view jump(
        "\xEB\x58\x90"
        "MSWIN4.1",
        11);  // the name the specification recommends for all
    std::copy(jump.begin(), jump.end(), b.begin());
    store_le16(b, 11, sector_bytes);
    b[13] = static_cast<Byte>(g.sectors_per_cluster);
    store_le16(b, 14, static_cast<std::uint16_t>(g.reserved));
    b[16] = Geometry::fat_copies;
    b[21] = 0xF8;
    store_le16(b, 24, 63);
    store_le16(b, 26, 255);
    store_le32(b, 28, static_cast<std::uint32_t>(g.partition_start));
    store_le32(b, 32, static_cast<std::uint32_t>(g.partition_sectors));
    store_le32(b, 36, g.fat_sectors);
    store_le32(b, 44, 2);
    store_le16(b, 48, 1);
    store_le16(b, 50, 6);
    b[64] = 0x80;
    b[66] = 0x29;
    std::copy_n(id.begin(), 4, b.begin() + 67);
    std::copy(label.begin(), label.end(), b.begin() + 71);
    const std::string_view type = "FAT32   ";
    std::copy(type.begin(), type.end(), b.begin() + 82);

    const ByteSpan info(out.data() + sector_bytes, sector_bytes);
    const std::uint64_t used = l.next_free - 2;
    store_le32(info, 0, 0x41615252);
    store_le32(info, 484, 0x61417272);
    store_le32(info, 488, static_cast<std::uint32_t>(g.clusters - used));
    store_le32(info, 492, used == g.clusters ? 0xFFFFFFFFu : l.next_free);
    for (std::size_t sector = 0; sector < 3; ++sector) {
        out[sector * sector_bytes + 510] = 0x55;
        out[sector * sector_bytes + 511] = 0xAA;
    }
    std::copy_n(out.begin(), 3 * sector_bytes, out.begin() + 6 * sector_bytes);
    return out;
}

Status too_small(const Geometry& g, std::uint64_t wanted) {
    return bad_input("card-too-small", "card size",
                     fmt::format("the release needs {} clusters of {} bytes, this card has {}", wanted,
                                 g.cluster_bytes(), g.clusters),
                     "take a larger card");
}

}  // namespace

std::uint64_t Layout::at(std::uint32_t cluster) const {
    return (geometry.data_start() + std::uint64_t{cluster - 2} * geometry.sectors_per_cluster) * sector_bytes;
}

std::uint64_t Layout::clusters_of(std::uint64_t n) const {
    return (n + geometry.cluster_bytes() - 1) / geometry.cluster_bytes();
}

Result<Layout> make_layout(const std::vector<FileToPlace>& files, const family::CardRule& rule,
                           const Geometry& geometry, std::string_view release_sha256) {
    const auto id = unhex(release_sha256);
    if (!id || id->size() < 8)
        return bad_input("release-digest-wrong", printable(release_sha256),
                         "is no digest in hex; the card's serial is taken from the release's digest",
                         "this is a mistake in Fettle");
    if (rule.label.size() > 11 || !std::all_of(rule.label.begin(), rule.label.end(), [](char c) {
            return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_' || c == '-' || c == ' ';
        }))
        return bad_input("label-not-layable", "family file, card.label",
                         fmt::format("'{}' is no volume label: up to 11 capitals, digits, '-', '_' and blanks",
                                     printable(rule.label)),
                         "put the family file right");

    auto tree = grow_tree(files, rule);
    if (!tree) return pass(tree);
    Layout l;
    l.geometry = geometry;
    l.first.assign(files.size(), 0);

    // Names and sizes of the folders first, then clusters, then their entries, which hold cluster numbers.
    std::vector<std::vector<ShortName>> names;
    std::uint64_t next = 2;
    const std::uint64_t end = geometry.clusters + 2;
    for (std::size_t i = 0; i < tree->folders.size(); ++i) {
        Folder& f = tree->folders[i];
        std::vector<std::string> long_names;
        for (const auto& item : f.items) long_names.push_back(item.name);
        auto shorts = short_names(long_names);
        if (!shorts) return pass(shorts);
        const auto entries = count_entries(f, *shorts, i == 0, !rule.label.empty());
        if (!entries) return pass(entries);
        names.push_back(std::move(*shorts));
        f.first = static_cast<std::uint32_t>(next);
        next += std::max<std::uint64_t>(1, l.clusters_of(*entries * entry_bytes));
        if (next > end) return pass(too_small(geometry, next - 2));
        l.last_of_run.push_back(static_cast<std::uint32_t>(next - 1));
    }
    const std::uint64_t files_from = next;
    for (std::size_t i = 0; i < files.size(); ++i) {
        if (files[i].size == 0) continue;
        l.first[i] = static_cast<std::uint32_t>(std::min<std::uint64_t>(next, 0xFFFFFFFF));
        next += l.clusters_of(files[i].size);
        l.last_of_run.push_back(static_cast<std::uint32_t>(std::min<std::uint64_t>(next - 1, 0xFFFFFFFF)));
    }
    if (next > end) return pass(too_small(geometry, next - 2));
    l.next_free = static_cast<std::uint32_t>(next);

    const ShortName label = label_of(rule.label);
    l.folders.reserve((files_from - 2) * geometry.cluster_bytes());
    for (std::size_t i = 0; i < tree->folders.size(); ++i) {
        const Folder& f = tree->folders[i];
        l.folders.resize((f.first - 2) * geometry.cluster_bytes());
        if (i == 0) {
            if (!rule.label.empty()) put_entry(l.folders, label, attribute_label, 0, 0);
        } else {
            const std::uint32_t parent = f.parent == 0 ? 0 : tree->folders[f.parent].first;  // 0 stands for the root
            put_entry(l.folders, label_of("."), attribute_folder, f.first, 0);
            put_entry(l.folders, label_of(".."), attribute_folder, parent, 0);
        }
        for (std::size_t k = 0; k < f.items.size(); ++k) {
            const Item& item = f.items[k];
            const ShortName& name = names[i][k];
            if (needs_long_name(item.name, name)) put_long_name(l.folders, item.name, name);
            if (item.folder)
                put_entry(l.folders, name, attribute_folder, tree->folders[item.index].first, 0);
            else
                put_entry(l.folders, name, attribute_archive, l.first[item.index],
                          static_cast<std::uint32_t>(files[item.index].size));
        }
    }
    l.folders.resize((files_from - 2) * geometry.cluster_bytes());

    l.table = table_sector(geometry, *id);
    l.boot = boot_sectors(l, rule.label.empty() ? label_of("NO NAME") : label, *id);
    return l;
}

void fill_fat(const Layout& layout, std::uint64_t from, ByteSpan out) {
    std::uint64_t entry = from / 4;
    auto last = std::lower_bound(layout.last_of_run.begin(), layout.last_of_run.end(), entry);
    for (std::size_t i = 0; i + 4 <= out.size(); i += 4, ++entry) {
        std::uint32_t v = 0;
        if (entry == 0) {
            v = 0x0FFFFFF8;
        } else if (entry == 1) {
            v = end_of_chain;  // both flags of FAT[1] set: shut down cleanly, no read or write error
        } else if (entry < layout.next_free) {
            v = static_cast<std::uint32_t>(entry) + 1;
            if (last != layout.last_of_run.end() && *last == entry) {
                v = end_of_chain;
                ++last;
            }
        }
        store_le32(out, i, v);
    }
}

}  // namespace fettle::card
