// Walking the folders. Every cluster reached is claimed once; what comes upon a claimed one is crossed or circular, so
// the walk ends after at most as many steps as the device has clusters.
#include <fmt/core.h>

#include <algorithm>
#include <deque>

#include "fettle/base/text.h"
#include "fettle/card/fat_names.h"
#include "fettle/card/volume_state.h"

namespace fettle::card {
namespace {

constexpr std::size_t entry_bytes = 32;
constexpr std::size_t folder_most_entries = 65536;
constexpr std::size_t most_depth = 64;
constexpr std::size_t most_nodes = 200000;
constexpr std::size_t most_path_bytes = 32u << 20;
constexpr std::size_t most_flaws = 1000;

struct Chain {
    std::uint64_t length = 0;  // clusters claimed
    std::optional<std::pair<FlawKind, std::string>> flaw;
};

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
    explicit Walk(Volume::State& state) : s_(state), claimed_(s_.clusters_on_device()) {}

    Result<Listing> run(bool scan_fat) {
        FolderToRead root;
        if (s_.type == FatType::fat32) {
            root.first = s_.boot.root_cluster;
            const Chain c = claim(root.first);
            if (c.length == 0)
                return bad_input("file-broken", "root folder", c.flaw ? c.flaw->second : std::string("has no cluster"),
                                 "lay the card again");
            root.length = c.length;
            if (c.flaw) flaw(c.flaw->first, "", "the root folder " + c.flaw->second);
        }
        queue_.push_back(root);
        while (!queue_.empty()) {
            const FolderToRead f = std::move(queue_.front());
            queue_.pop_front();
            read_folder(f);
        }
        out_.clusters_used = static_cast<std::uint64_t>(std::count(claimed_.begin(), claimed_.end(), true));
        if (scan_fat) scan();
        return std::move(out_);
    }

private:
    void flaw(FlawKind kind, const std::string& path, std::string text) {
        if (out_.flaws.size() < most_flaws) out_.flaws.push_back({kind, path, std::move(text)});
    }

    // Takes the chain for one owner, up to the first cluster that cannot be its own.
    Chain claim(std::uint32_t first) {
        Chain c;
        for (std::uint32_t at = first;;) {
            if (!s_.in_range(at)) {
                c.flaw = {FlawKind::chain_broken, fmt::format("leads to cluster {}, which is not on the volume", at)};
                return c;
            }
            if (at - 2 >= claimed_.size()) {
                c.flaw = {FlawKind::past_the_end, fmt::format("lies beyond the end of the card (cluster {})", at)};
                return c;
            }
            if (claimed_[at - 2]) {
                const bool own = holds(first, c.length, at);
                c.flaw = own ? std::pair{FlawKind::chain_circular, fmt::format("comes back to its own cluster {}", at)}
                             : std::pair{FlawKind::chain_crossed,
                                         fmt::format("runs into cluster {}, which something else holds", at)};
                return c;
            }
            claimed_[at - 2] = true;
            ++c.length;
            const auto link = s_.follow(at);
            if (!link) {
                c.flaw = {FlawKind::unreadable, "cannot be followed: " + link.error().problem};
                return c;
            }
            if (link->kind == Link::end) return c;
            if (link->kind != Link::next) {
                c.flaw = {FlawKind::chain_broken, fmt::format("holds cluster {}, whose FAT entry is {}", at,
                                                              link->kind == Link::free  ? "free"
                                                              : link->kind == Link::bad ? "marked bad"
                                                                                        : "out of range")};
                return c;
            }
            at = link->cluster;
        }
    }

    bool holds(std::uint32_t first, std::uint64_t length, std::uint32_t wanted) {
        std::uint32_t at = first;
        for (std::uint64_t i = 0; i < length; ++i) {
            if (at == wanted) return true;
            const auto link = s_.follow(at);
            if (!link || link->kind != Link::next) return false;
            at = link->cluster;
        }
        return false;
    }

    void read_folder(const FolderToRead& f) {
        long_ = {};
        std::size_t entries = 0;
        Bytes block;
        const auto take_block = [&](std::uint64_t at, std::uint64_t size) {
            block.resize(size);
            if (Status r = s_.device.read_at(at, block); !r) {
                flaw(FlawKind::unreadable, f.path, "cannot be read: " + r.error().problem);
                return false;
            }
            for (std::size_t i = 0; i + entry_bytes <= block.size(); i += entry_bytes) {
                if (block[i] == 0) return false;
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

    void take_long(ByteView e, const FolderToRead& f) {
        static constexpr std::size_t places[13] = {1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30};
        const unsigned order = e[0] & 0x3F;
        if (e[0] & 0x40) {
            if (long_.running) flaw(FlawKind::bad_name, f.path, "holds a long name that belongs to no file");
            long_ = {{}, order, e[13], true};
        }
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
            flaw(FlawKind::bad_name, joined(f.path, short_shown), "has a long name with pieces missing");
            return short_shown;
        }
        if (l.sum != long_name_sum(name)) {
            flaw(FlawKind::long_name_sum, joined(f.path, short_shown),
                 "has a long name beside it that carries another short name's sum");
            return short_shown;
        }
        bool damaged = false;
        std::string out = to_utf8(std::u16string_view(l.units).substr(0, l.units.find(u'\0')), damaged);
        if (out.empty() || damaged || out == "." || out == ".." || out.find('/') != std::string::npos) {
            flaw(FlawKind::bad_name, joined(f.path, short_shown), "has a damaged long name");
            return short_shown;
        }
        return out;
    }

    static std::string joined(const std::string& folder, const std::string& name) {
        return folder.empty() ? name : folder + "/" + name;
    }

    // False: no further entries of this folder are taken.
    bool take_entry(const FolderToRead& f, std::size_t index, ByteView e) {
        const Byte attributes = e[11];
        if (e[0] == 0xE5) {  // deleted
            long_ = {};
            return true;
        }
        if ((attributes & 0x3F) == 0x0F) {
            take_long(e, f);
            return true;
        }
        ShortName name;
        std::copy_n(e.begin(), name.size(), name.begin());
        if (attributes & 0x08) {
            if (f.depth == 0 && out_.label.empty()) out_.label = printable(trim(as_text(e.first(11))));
            long_ = {};
            return true;
        }
        const std::uint32_t high = s_.type == FatType::fat32 ? load_le16(e, 20) : 0u;
        const std::uint32_t first = (high << 16 | load_le16(e, 26)) & 0x0FFFFFFF;
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
        n.path = joined(f.path, name_of(name, e[12], f));
        n.folder = folder;
        n.hidden = attributes & 0x02;
        n.system = attributes & 0x04;
        n.first_cluster = first;
        n.size = folder ? 0 : load_le32(e, 28);
        if (std::any_of(name.begin(), name.end(), [](Byte b) { return b < 0x20 && b != 0x05; }))
            flaw(FlawKind::bad_name, n.path, "has a short name with a control character");
        path_bytes_ += n.path.size();
        if (out_.nodes.size() >= most_nodes || path_bytes_ > most_path_bytes) {
            if (!full_) flaw(FlawKind::too_many, f.path, "holds more than this reader takes; the rest was not read");
            full_ = true;
            queue_.clear();
            return false;
        }
        if (folder)
            take_folder(f, n, load_le32(e, 28));
        else
            take_file(n);
        out_.nodes.push_back(std::move(n));
        return true;
    }

    void take_folder(const FolderToRead& parent, Node& n, std::uint32_t size) {
        if (size != 0) flaw(FlawKind::bad_folder, n.path, "is a folder with a size, which FAT does not have");
        const Chain c = claim(n.first_cluster);
        if (c.flaw) flaw(c.flaw->first, n.path, c.flaw->second);
        if (c.length == 0) return;
        n.at = s_.cluster_at(n.first_cluster);
        n.whole = !c.flaw;
        if (parent.depth + 1 > most_depth) {
            flaw(FlawKind::too_many, n.path, fmt::format("lies more than {} folders deep", most_depth));
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
        const Chain c = claim(n.first_cluster);
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

    void scan() {
        for (std::uint64_t i = 0; i < s_.boot.clusters; ++i) {
            const auto link = s_.follow(static_cast<std::uint32_t>(i + 2));
            if (!link) {
                flaw(FlawKind::unreadable, "", "the FAT cannot be read to its end: " + link.error().problem);
                return;
            }
            if (link->kind == Link::free)
                ++out_.clusters_free;
            else if (link->kind != Link::bad && i < claimed_.size() && !claimed_[i])
                ++out_.clusters_lost;
        }
    }

    Volume::State& s_;
    std::vector<bool> claimed_;  // by cluster number - 2
    std::deque<FolderToRead> queue_;
    LongName long_;
    Listing out_;
    std::size_t path_bytes_ = 0;
    bool full_ = false;
};

}  // namespace

const Node* Listing::find(std::string_view path) const {
    for (const auto& n : nodes)
        if (n.path == path) return &n;
    return nullptr;
}

Result<Listing> Volume::list(bool scan_fat) {
    if (state_->type == FatType::fat32 && !boot().wide)
        return bad_input("fat-type-unclear", "boot sector", "has no root cluster to start from", "lay the card again");
    return Walk(*state_).run(scan_fat);
}

}  // namespace fettle::card
