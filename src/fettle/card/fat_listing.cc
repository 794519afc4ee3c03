// Walking the folders of a FAT volume.
#include <fmt/core.h>

#include <algorithm>
#include <cstring>
#include <deque>
#include <functional>
#include <unordered_set>
#include <utility>

#include "fettle/base/text.h"
#include "fettle/card/chains.h"
#include "fettle/card/fat_names.h"

namespace fettle::card {
namespace {

constexpr std::size_t entry_bytes = 32;
constexpr std::size_t folder_most_entries = 65536;
constexpr std::uint64_t scan_bytes = 1u << 20;

bool all_zero(ByteView b) {
    return b[0] == 0 && std::memcmp(b.data(), b.data() + 1, b.size() - 1) == 0;
}
// What the specification's "FAT Directory Structure" (DIR_Name) forbids; nullptr: nothing. Small letters, which it
// forbids too, hinder nobody.
const char* not_allowed(const ShortName& name) {
    static constexpr std::string_view forbidden = "\"*+,./:;<=>?[\\]|";
    if (name[0] == ' ') return "has a short name that begins with a blank";
    for (const Byte b : name) {
        if (b < 0x20 && b != 0x05) return "has a short name with a control character";
        if (forbidden.find(static_cast<char>(b)) != std::string_view::npos)
            return "has a short name with a character that no short name may have";
    }
    return nullptr;
}

// The pieces of a long name on their way to the short entry they belong to.
struct LongName {
    std::u16string units;  // as far as collected; pieces come last first
    unsigned next = 0;     // order number of the piece that must follow
    Byte sum = 0;
    bool running = false;
};

struct FolderToRead {
    std::string path;
    std::uint32_t first = 0;   // 0: the fixed root area of FAT12 and FAT16
    std::uint64_t length = 0;  // clusters of its chain that are its own
    std::uint32_t parent = 0;  // what ".." must hold
    std::size_t depth = 0;
};

class Walk {
public:
    explicit Walk(Volume::State& state) : s_(state), chains_(state) {}

    Result<Listing> run(bool scan_fat) {
        FolderToRead root;
        if (s_.type == FatType::fat32) {
            root.first = s_.boot.root_cluster;
            const Chain c = chains_.claim(root.first);
            if (c.length == 0)
                return bad_input("file-broken", "root folder", c.flaw ? c.flaw->second : std::string("has no cluster"),
                                 "lay the card again");
            root.length = c.length;
            if (c.flaw) flaw(c.flaw->first, "", c.flaw->second);
        }
        queue_.push_back(root);
        while (!queue_.empty()) {
            const FolderToRead f = std::move(queue_.front());
            queue_.pop_front();
            read_folder(f);
        }
        out_.clusters_used = chains_.claims().held();
        if (scan_fat) scan();
        return std::move(out_);
    }

private:
    void flaw(FlawKind kind, const std::string& path, std::string text) { g_.flaw(kind, path, std::move(text)); }

    void read_folder(const FolderToRead& f) {
        long_ = {};
        names_.clear();
        std::size_t entries = 0;
        Bytes block;
        const auto take_block = [&](std::uint64_t at, std::uint64_t size) {
            block.resize(size);
            if (Status r = s_.device.read_at(at, block); !r) {
                flaw(FlawKind::unreadable, f.path, "cannot be read: " + r.error().problem);
                return false;
            }
            for (std::size_t i = 0; i + entry_bytes <= block.size(); i += entry_bytes) {
                if (block[i] == 0) return look_behind(f, ByteView(block).subspan(i));
                if (entries == folder_most_entries) {
                    flaw(FlawKind::too_many, f.path, "has more than 65,536 entries, more than FAT allows");
                    return false;
                }
                if (!take_entry(f, entries++, ByteView(block).subspan(i, entry_bytes))) return false;
            }
            return true;
        };
        if (f.first == 0) {
            const std::uint64_t sector = s_.boot.reserved + s_.boot.fat_copies * s_.boot.fat_sectors;
            for (std::uint64_t i = 0; i < s_.boot.root_sectors(); ++i)
                if (!take_block(s_.sector_at(sector + i), s_.boot.bytes_per_sector)) break;
        } else {
            std::uint32_t at = f.first;
            for (std::uint64_t left = f.length; left > 0; --left) {
                if (!take_block(s_.cluster_at(at), s_.cluster_bytes()) || left == 1) break;
                const auto link = s_.follow(at);
                if (!link || link->kind != Link::next) break;
                at = link->cluster;
            }
        }
        if (long_.running) flaw(FlawKind::bad_name, f.path, "ends with a long name that belongs to no file");
        if (f.depth > 0 && entries < 2) flaw(FlawKind::bad_folder, f.path, "lacks its entries '.' and '..'");
    }

    // Behind the mark that ends a folder all is free; some readers go on all the same (Linux skips what is free).
    // False.
    bool look_behind(const FolderToRead& f, ByteView rest) {
        for (std::size_t i = 0; i + entry_bytes <= rest.size(); i += entry_bytes)
            if (rest[i] != 0 && rest[i] != 0xE5) {
                flaw(FlawKind::bad_folder, f.path, "holds entries behind its end, which some readers take");
                break;
            }
        return false;
    }

    void take_long(ByteView e, const FolderToRead& f) {
        static constexpr std::size_t places[13] = {1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30};
        const unsigned order = e[0] & 0x3F;
        if (e[0] & 0x40) {
            if (long_.running) flaw(FlawKind::bad_name, f.path, "holds a long name that belongs to no file");
            long_ = {{}, order, e[13], true};
        }
        if (e[0] & 0x80) flaw(FlawKind::set_damaged, f.path, "holds a long name with a reserved bit in its order");
        // LDIR_Type and LDIR_FstClusLO must be 0 ("FAT Long Directory Entries").
        if (e[12] != 0 || load_le16(e, 26) != 0)
            flaw(FlawKind::bad_name, f.path, "holds a long name with something in its reserved fields");
        if (!long_.running || order != long_.next || order == 0 || order > 20 || e[13] != long_.sum) {
            flaw(FlawKind::bad_name, f.path, "holds a long name whose pieces are out of order");
            long_ = {};
            return;
        }
        --long_.next;
        std::u16string piece;
        for (const std::size_t at : places) piece.push_back(static_cast<char16_t>(load_le16(e, at)));
        long_.units.insert(0, piece);
    }

    // The long name if it belongs to this short entry; otherwise the short one.
    std::string name_of(const ShortName& name, Byte case_bits, const FolderToRead& f) {
        std::string short_shown = shown(name, case_bits);
        if (!long_.running) return short_shown;
        const LongName l = std::move(long_);
        long_ = {};
        if (l.next != 0) {
            flaw(FlawKind::bad_name, Gathered::joined(f.path, short_shown), "has a long name with pieces missing");
            return short_shown;
        }
        if (l.sum != long_name_sum(name)) {
            flaw(FlawKind::long_name_sum, Gathered::joined(f.path, short_shown),
                 "has a long name beside it that carries another short name's sum");
            return short_shown;
        }
        bool damaged = false;
        std::string out = to_utf8(std::u16string_view(l.units).substr(0, l.units.find(u'\0')), damaged);
        if (out.empty() || damaged || out == "." || out == ".." || out.find('/') != std::string::npos) {
            flaw(FlawKind::bad_name, Gathered::joined(f.path, short_shown), "has a damaged long name");
            return short_shown;
        }
        return out;
    }

    // False: no further entries of this folder are taken.
    bool take_entry(const FolderToRead& f, std::size_t index, ByteView e) {
        const Byte attributes = e[11];
        if (e[0] == 0xE5) {  // deleted
            long_ = {};
            return true;
        }
        // With one of them set mtools does not take a long name for one; others do ("FAT Directory Structure",
        // DIR_Attr).
        if (attributes & 0xC0)
            flaw(FlawKind::set_damaged, f.path,
                 fmt::format("holds an entry with the reserved attribute bits set ({:02X})", attributes));
        if ((attributes & 0x3F) == 0x0F) {
            take_long(e, f);
            return true;
        }
        ShortName name;
        std::copy_n(e.begin(), name.size(), name.begin());
        if (attributes & 0x08) {
            if (f.depth == 0 && ++out_.labels == 1) out_.label = printable(trim(as_text(e.first(11))));
            long_ = {};
            return true;
        }
        const std::uint32_t high = s_.type == FatType::fat32 ? load_le16(e, 20) : 0u;
        const std::uint32_t first = (high << 16 | load_le16(e, 26)) & 0x0FFFFFFF;
        // Only FAT32 has a high half of the first cluster; sleuthkit takes it all the same.
        if (s_.type != FatType::fat32 && load_le16(e, 20) != 0)
            flaw(FlawKind::set_damaged, f.path,
                 "holds an entry whose first cluster has a high half, which only FAT32 has");
        const bool folder = attributes & 0x10;
        if (f.depth > 0 && index < 2) {
            const std::string_view want = index == 0 ? ".          " : "..         ";
            const bool named = std::equal(want.begin(), want.end(), name.begin());
            const std::uint32_t target = index == 0 ? f.first : f.parent;
            // A few writers give the root's own number where the specification wants 0.
            const bool root_too = index == 1 && f.depth == 1 && first == s_.boot.root_cluster;
            if (!named || !folder || (first != target && !root_too))
                flaw(FlawKind::bad_folder, f.path, fmt::format("has a wrong entry '{}'", index == 0 ? "." : ".."));
            if (named) return true;
        }
        Node n;
        n.short_name = shown(name);
        n.path = Gathered::joined(f.path, name_of(name, e[12], f));
        n.folder = folder;
        n.hidden = attributes & 0x02;
        n.system = attributes & 0x04;
        n.first_cluster = first;
        n.size = folder ? 0 : load_le32(e, 28);
        if (const char* why = not_allowed(name)) flaw(FlawKind::bad_name, n.path, why);
        n.valid = n.size;
        if (!g_.room_for(n, f.path)) {
            queue_.clear();
            return false;
        }
        judge_twice(n, name);
        if (folder)
            take_folder(f, n, load_le32(e, 28));
        else
            take_file(n);
        out_.nodes.push_back(std::move(n));
        return true;
    }

    // Two entries with one name: a reader finds the first, and not the other.
    void judge_twice(const Node& n, const ShortName& name) {
        const std::hash<std::string> hash;
        const std::string last = n.path.substr(n.path.rfind('/') + 1);
        const std::string raw(name.begin(), name.end());
        const bool short_new = names_.insert(hash("s" + raw)).second;
        const bool long_new = names_.insert(hash("l" + name_key(last))).second;
        if (!short_new || !long_new)
            flaw(FlawKind::name_twice, n.path,
                 long_new ? "has a short name that stands in its folder twice ('" + printable(n.short_name) + "')"
                          : "stands in its folder twice");
    }

    void take_folder(const FolderToRead& parent, Node& n, std::uint32_t size) {
        // sleuthkit reads no further than that.
        if (size != 0) flaw(FlawKind::set_damaged, n.path, "is a folder with a size, which FAT does not have");
        const Chain c = chains_.claim(n.first_cluster);
        if (c.flaw) flaw(c.flaw->first, n.path, c.flaw->second);
        if (c.length == 0) return;
        n.at = s_.cluster_at(n.first_cluster);
        n.whole = !c.flaw;
        if (parent.depth + 1 > Gathered::most_depth) {
            flaw(FlawKind::too_many, n.path, fmt::format("lies more than {} folders deep", Gathered::most_depth));
            return;
        }
        const std::uint32_t up = parent.depth == 0 ? 0 : parent.first;
        queue_.push_back({n.path, n.first_cluster, c.length, up, parent.depth + 1});
    }

    void take_file(Node& n) {
        const std::uint64_t wanted = (n.size + s_.cluster_bytes() - 1) / s_.cluster_bytes();
        if (n.first_cluster == 0) {
            n.whole = n.size == 0;
            if (!n.whole) flaw(FlawKind::chain_short, n.path, fmt::format("has no cluster for its {} bytes", n.size));
            return;
        }
        const Chain c = chains_.claim(n.first_cluster);
        if (c.length > 0) n.at = s_.cluster_at(n.first_cluster);
        if (c.flaw)
            flaw(c.flaw->first, n.path, c.flaw->second);
        else if (c.length < wanted)
            flaw(FlawKind::chain_short, n.path,
                 fmt::format("has {} clusters where its size wants {}", c.length, wanted));
        else if (c.length > wanted)
            flaw(FlawKind::chain_long, n.path,
                 fmt::format("has {} clusters where its size wants {}", c.length, wanted));
        n.whole = c.length >= wanted;
    }

    // Every entry of the FAT that counts, read once in large pieces.
    void scan() {
        const std::uint64_t clusters = s_.boot.clusters;
        const std::uint64_t bits = s_.type == FatType::fat32 ? 32 : s_.type == FatType::fat16 ? 16 : 12;
        const std::uint64_t from = s_.fat_at(s_.active_fat());
        const auto count = [&](std::uint64_t i, std::uint32_t v) {
            const Link l = s_.meaning(v);
            if (l.kind == Link::free)
                ++out_.clusters_free;
            else if (l.kind == Link::bad)
                ++out_.clusters_bad;
            else if (i < chains_.claims().clusters() && !chains_.claims().has(i)) {
                ++out_.clusters_lost;
                // Of a cluster that no file has: mtools refuses the whole card for it.
                if (l.kind == Link::out_of_range && !std::exchange(said_nowhere_, true))
                    flaw(FlawKind::chain_broken, "",
                         fmt::format("has a FAT whose entry {} leads nowhere ({})", i + 2, l.cluster));
            }
        };
        if (bits == 12) {
            for (std::uint64_t i = 0; i < clusters; ++i) {
                const auto v = s_.entry(static_cast<std::uint32_t>(i + 2), s_.active_fat());
                if (!v)
                    return flaw(FlawKind::unreadable, "",
                                "has a FAT that cannot be read to its end: " + v.error().problem);
                count(i, *v);
            }
            out_.counted = true;
            return;
        }
        const std::uint64_t width = bits / 8, end = (clusters + 2) * width;
        Bytes part;
        for (std::uint64_t at = 0; at < end; at += part.size()) {
            part.resize(std::min<std::uint64_t>(scan_bytes, end - at));
            if (Status r = s_.device.read_at(from + at, part); !r)
                return flaw(FlawKind::unreadable, "", "has a FAT that cannot be read to its end: " + r.error().problem);
            const std::uint64_t entries = part.size() / width, first = at / width;
            if (first >= 2 && all_zero(part)) {
                out_.clusters_free += entries;
                continue;
            }
            for (std::uint64_t k = first == 0 ? 2 : 0; k < entries; ++k)
                count(first + k - 2, width == 4 ? load_le32(part, k * 4) & 0x0FFFFFFF : load_le16(part, k * 2));
        }
        out_.counted = true;
    }

    Volume::State& s_;
    Chains chains_;
    std::deque<FolderToRead> queue_;
    LongName long_;
    bool said_nowhere_ = false;
    std::unordered_set<std::size_t> names_;  // of the folder being read, hashed
    Gathered g_;
    Listing& out_ = g_.out;
};

}  // namespace

Result<Listing> list_fat(Volume::State& state, bool scan_fat) {
    return Walk(state).run(scan_fat);
}

}  // namespace fettle::card
