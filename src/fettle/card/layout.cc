// Everything lies one after the other: that is why a FAT is written as runs, and why what stands in it can be told from
// the last cluster of each.
#include "fettle/card/layout.h"

#include <fmt/core.h>

#include "fettle/base/text.h"
#include "fettle/card/layout_parts.h"

namespace fettle::card {
namespace {

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

Bytes table_sector(const Geometry& g, std::uint32_t signature) {
    Bytes s(sector_bytes);
    store_le32(s, 440, signature);
    s[446 + 4] = g.partition_type;
    store_chs(s, 446 + 1, g.partition_start);
    store_chs(s, 446 + 5, g.partition_start + g.partition_sectors - 1);
    store_le32(s, 446 + 8, static_cast<std::uint32_t>(g.partition_start));
    store_le32(s, 446 + 12, static_cast<std::uint32_t>(g.partition_sectors));
    s[510] = 0x55, s[511] = 0xAA;
    return s;
}

}  // namespace

std::uint64_t Layout::at(std::uint32_t cluster) const {
    return (geometry.data_start() + std::uint64_t{cluster - 2} * geometry.sectors_per_cluster) * sector_bytes;
}

std::uint64_t Layout::clusters_of(std::uint64_t n) const {
    return n / geometry.cluster_bytes() + (n % geometry.cluster_bytes() != 0);
}

std::uint32_t volume_serial(ByteView release_digest, unsigned card_number) {
    return load_le32(release_digest, 0) + (card_number - 1);
}

Result<Layout> make_layout(const std::vector<FileToPlace>& files, const family::CardRule& rule,
                           const Geometry& geometry, std::string_view release_sha256, unsigned card_number) {
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

    auto tree = grow_tree(files, rule, geometry.type);
    if (!tree) return pass(tree);
    Layout l;
    l.geometry = geometry;
    l.first.assign(files.size(), 0);
    const std::uint32_t serial = volume_serial(*id, card_number);
    const auto lay_out = geometry.type == FatType::exfat ? lay_out_exfat : lay_out_fat;
    if (Status s = lay_out(l, *tree, files, rule.label, serial); !s) return pass(s);
    l.table = table_sector(geometry, load_le32(*id, 4) + (card_number - 1));
    return l;
}

void fill_fat(const Layout& layout, std::uint64_t from, ByteSpan out) {
    const FatType type = layout.geometry.type;
    const std::uint64_t width = type == FatType::fat16 ? 2 : 4;
    const std::uint32_t end_of_chain = type == FatType::fat16   ? 0xFFFF
                                       : type == FatType::fat32 ? 0x0FFFFFFF
                                                                : 0xFFFFFFFF;
    // Media byte with ones before it; on FAT both flags of FAT[1] set: shut down cleanly, no read or write error.
    const std::uint32_t zeroth = end_of_chain - 7;
    const std::uint64_t behind = layout.last_of_run.empty() ? 2 : std::uint64_t{layout.last_of_run.back()} + 1;
    std::uint64_t entry = from / width;
    auto last = std::lower_bound(layout.last_of_run.begin(), layout.last_of_run.end(), entry);
    for (std::size_t i = 0; i + width <= out.size(); i += width, ++entry) {
        std::uint32_t v = 0;
        if (entry == 0) {
            v = zeroth;
        } else if (entry == 1) {
            v = end_of_chain;
        } else if (entry < behind) {
            v = static_cast<std::uint32_t>(entry) + 1;
            if (last != layout.last_of_run.end() && *last == entry) {
                v = end_of_chain;
                ++last;
            }
        }
        if (width == 2)
            store_le16(out, i, static_cast<std::uint16_t>(v));
        else
            store_le32(out, i, v);
    }
}

}  // namespace fettle::card
