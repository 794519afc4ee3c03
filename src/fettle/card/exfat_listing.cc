// Walking the folders of an exFAT volume, by sections 6 and 7 of its specification.
#include <fmt/core.h>

#include <algorithm>
#include <bit>
#include <deque>
#include <unordered_set>

#include "fettle/base/text.h"
#include "fettle/card/chains.h"
#include "fettle/card/exfat.h"
#include "fettle/card/fat_names.h"

namespace fettle::card {
namespace {

using exfat::entry_bytes;
constexpr std::uint64_t read_bytes = 256u << 10;
constexpr std::uint64_t upcase_most_bytes = 131072;
constexpr std::uint64_t folder_most_bytes = 256u << 20;  // section 9

struct FolderToRead {
    std::string path;
    std::uint32_t first = 0;
    std::uint64_t bytes = 0;  // of its clusters, and of its size
    bool contiguous = false;
    std::size_t depth = 0;
};

struct SystemFile {
    std::uint32_t first = 0, sum = 0;
    std::uint64_t size = 0;
    unsigned met = 0;
};

class Walk {
public:
    explicit Walk(Volume::State& state) : s_(state), chains_(state), upcase_(exfat::recommended_upcase()) {}

    Result<Listing> run(bool scan) {
        const Chain c = chains_.claim(s_.boot.root_cluster);
        if (c.length == 0)
            return bad_input("file-broken", "root folder", c.flaw ? c.flaw->second : std::string("has no cluster"),
                             "lay the card again");
        if (c.flaw) flaw(c.flaw->first, "", c.flaw->second);
        const FolderToRead root{"", s_.boot.root_cluster, c.length * s_.cluster_bytes(), false, 0};
        read_system(root);
        queue_.push_back(root);
        while (!queue_.empty() && !g_.full) {
            const FolderToRead f = std::move(queue_.front());
            queue_.pop_front();
            read_folder(f);
        }
        out_.clusters_used = chains_.claims().held();
        if (scan && bitmap_.met) count();
        return std::move(out_);
    }

private:
    void flaw(FlawKind kind, const std::string& path, std::string text) { g_.flaw(kind, path, std::move(text)); }

    // Gives the folder's entries one after the other until it ends or `take` says no.
    void each_entry(const FolderToRead& f, const std::function<bool(ByteView)>& take) {
        Bytes block;
        std::uint32_t cluster = f.first;
        for (std::uint64_t done = 0; done < std::min(f.bytes, folder_most_bytes);) {
            const std::uint64_t within = done % s_.cluster_bytes();
            block.resize(std::min({read_bytes, s_.cluster_bytes() - within, f.bytes - done}));
            if (Status r = s_.device.read_at(s_.cluster_at(cluster) + within, block); !r)
                return flaw(FlawKind::unreadable, f.path, "cannot be read: " + r.error().problem);
            for (std::size_t i = 0; i + entry_bytes <= block.size(); i += entry_bytes) {
                if (block[i] == 0) return;
                if (!take(ByteView(block).subspan(i, entry_bytes))) return;
            }
            done += block.size();
            if (done % s_.cluster_bytes() != 0 || done >= f.bytes) continue;
            if (f.contiguous) {
                ++cluster;
                continue;
            }
            const auto link = s_.follow(cluster);
            if (!link || link->kind != Link::next) return;
            cluster = link->cluster;
        }
        if (f.bytes > folder_most_bytes)
            flaw(FlawKind::too_many, f.path, "is larger than the 256 MiB that exFAT allows a folder");
    }

    // Bitmap, up-case table and label first: names are compared by the volume's own table.
    void read_system(const FolderToRead& root) {
        SystemFile table;
        each_entry(root, [&](ByteView e) {
            if (e[0] == exfat::bitmap_entry) {
                const bool second = e[1] & 1;
                if (second == (s_.boot.volume_flags & 1) || s_.boot.fat_copies == 1)
                    bitmap_ = {load_le32(e, 20), 0, load_le64(e, 24), bitmap_.met + 1};
            } else if (e[0] == exfat::upcase_entry) {
                table = {load_le32(e, 20), load_le32(e, 4), load_le64(e, 24), table.met + 1};
            } else if (e[0] == exfat::label_entry) {
                std::u16string units;
                for (std::size_t i = 0; i < std::min<std::size_t>(e[1], 11); ++i)
                    units.push_back(static_cast<char16_t>(load_le16(e, 2 + 2 * i)));
                bool damaged = false;
                out_.label = printable(to_utf8(units, damaged));
            }
            return true;
        });
        const std::uint64_t wanted = (s_.boot.clusters + 7) / 8;
        if (bitmap_.met != 1 || bitmap_.size < wanted) {
            flaw(FlawKind::system_damaged, "",
                 bitmap_.met == 0 ? "has no allocation bitmap" : "has an allocation bitmap that cannot be right");
            bitmap_.met = 0;
        } else if (!claim_system(bitmap_, "allocation bitmap")) {
            bitmap_.met = 0;
        }
        if (table.met != 1 || table.size == 0 || table.size > upcase_most_bytes || table.size % 2 != 0)
            return flaw(FlawKind::system_damaged, "",
                        table.met == 0 ? "has no up-case table" : "has an up-case table that cannot be right");
        if (!claim_system(table, "up-case table")) return;
        const auto bytes = read_chain(table.first, table.size);
        if (!bytes) return flaw(FlawKind::system_damaged, "", "has an up-case table that cannot be read");
        if (exfat::table_sum(*bytes) != table.sum)
            return flaw(FlawKind::system_damaged, "", "has an up-case table whose checksum is wrong");
        upcase_ = exfat::expanded_upcase(*bytes);
    }

    bool claim_system(const SystemFile& f, const char* what) {
        const Chain c = chains_.claim(f.first);
        if (!c.flaw && c.length * s_.cluster_bytes() >= f.size) return true;
        flaw(c.flaw ? c.flaw->first : FlawKind::chain_short, "",
             fmt::format("has an {} that {}", what, c.flaw ? c.flaw->second : "is shorter than its size"));
        return false;
    }

    Result<Bytes> read_chain(std::uint32_t first, std::uint64_t size) {
        Bytes out(size);
        std::uint32_t at = first;
        for (std::uint64_t done = 0; done < size;) {
            const std::uint64_t n = std::min(s_.cluster_bytes(), size - done);
            if (Status r = s_.device.read_at(s_.cluster_at(at), ByteSpan(out).subspan(done, n)); !r) return pass(r);
            done += n;
            if (done >= size) break;
            const auto link = s_.follow(at);
            if (!link || link->kind != Link::next)
                return bad_input("file-broken", "exFAT", "its chain ends before its size", "lay the card again");
            at = link->cluster;
        }
        return out;
    }

    void read_folder(const FolderToRead& f) {
        names_.clear();
        set_.clear();
        wanted_ = 0;
        each_entry(f, [&](ByteView e) {
            if (wanted_ != 0) {
                if (e[0] >= 0xC0) {
                    append(set_, e);
                    if (--wanted_ == 0) take_set(f);
                    return !g_.full;
                }
                damaged(f, "breaks off before its last entry");
            }
            if (e[0] == exfat::file_entry) {
                set_.assign(e.begin(), e.end());
                wanted_ = e[1];
                if (wanted_ < 2 || wanted_ > 18) damaged(f, fmt::format("claims {} further entries", e[1]));
            } else if (e[0] >= 0xC0) {
                flaw(FlawKind::set_damaged, f.path, "holds a secondary entry that belongs to no file");
            } else if ((e[0] & 0x80) && !(e[0] & 0x20) &&
                       (f.depth > 0 ||
                        (e[0] != exfat::bitmap_entry && e[0] != exfat::upcase_entry && e[0] != exfat::label_entry))) {
                flaw(FlawKind::set_damaged, f.path,
                     fmt::format("holds an entry of the unknown type {:02X}, which every reader must know", e[0]));
            }
            return true;
        });
        if (wanted_ != 0) damaged(f, "breaks off before its last entry");
    }

    void damaged(const FolderToRead& f, const std::string& what) {
        flaw(FlawKind::set_damaged, f.path, "holds an entry set that " + what);
        wanted_ = 0;
        set_.clear();
    }

    void take_set(const FolderToRead& f) {
        const ByteView set(set_);
        const ByteView stream = set.subspan(entry_bytes, entry_bytes);
        if (stream[0] != exfat::stream_entry) return damaged(f, "lacks its stream entry");
        const std::size_t length = stream[3];
        std::u16string units;
        for (std::size_t at = 2 * entry_bytes; at < set.size() && set[at] == exfat::name_entry; at += entry_bytes)
            for (std::size_t i = 0; i < 15; ++i) units.push_back(static_cast<char16_t>(load_le16(set, at + 2 + 2 * i)));
        if (length == 0 || units.size() < length) return damaged(f, "lacks entries of its name");
        units.resize(length);
        bool odd = false;
        const std::string name = to_utf8(units, odd);
        const bool illegal = std::any_of(units.begin(), units.end(), [](char16_t c) {
            return c < 0x20 ||
                   (c < 0x80 && std::string_view("\"*/:<>?\\|").find(static_cast<char>(c)) != std::string_view::npos);
        });
        Node n;
        n.path = Gathered::joined(f.path, illegal || name == "." || name == ".." ? printable_name(name) : name);
        if (exfat::set_sum(set) != load_le16(set, 2))
            flaw(FlawKind::set_damaged, n.path, "has an entry set whose checksum is wrong");
        if (illegal || odd || name == "." || name == "..")
            flaw(FlawKind::bad_name, n.path, "has a name with characters that exFAT does not take");
        const std::u16string up = exfat::upcased(units, upcase_);
        if (exfat::name_hash(up) != load_le16(stream, 4))
            flaw(FlawKind::name_hash, n.path, "has a name hash that is not its name's");
        const std::uint16_t attributes = load_le16(set, 4);
        n.folder = attributes & 0x10;
        n.hidden = attributes & 0x02;
        n.system = attributes & 0x04;
        n.first_cluster = load_le32(stream, 20);
        n.contiguous = stream[1] & exfat::no_fat_chain;
        const std::uint64_t size = load_le64(stream, 24);
        n.valid = std::min(load_le64(stream, 8), size);
        n.size = n.folder ? 0 : size;
        if (load_le64(stream, 8) > size) flaw(FlawKind::set_damaged, n.path, "has more valid bytes than its size");
        if (!g_.room_for(n, f.path)) return;
        if (!names_.insert(std::hash<std::u16string>()(up)).second)
            flaw(FlawKind::name_twice, n.path, "stands in its folder twice");
        take_clusters(f, n, size);
        out_.nodes.push_back(std::move(n));
    }

    // A '/' in a name must not make a folder of it.
    static std::string printable_name(std::string name) {
        for (auto at = name.find('/'); at != std::string::npos; at = name.find('/')) name.replace(at, 1, "\\x2F");
        return name == "." || name == ".." ? "_" + name : name;
    }

    void take_clusters(const FolderToRead& f, Node& n, std::uint64_t size) {
        const std::uint64_t cluster = s_.cluster_bytes();
        const std::uint64_t wanted = size / cluster + (size % cluster != 0);
        if (n.first_cluster == 0) {
            n.whole = size == 0 && !n.folder;
            if (size != 0) flaw(FlawKind::chain_short, n.path, fmt::format("has no cluster for its {} bytes", size));
            return;
        }
        const Chain c = n.contiguous ? chains_.claim_run(n.first_cluster, wanted) : chains_.claim(n.first_cluster);
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
        if (!n.folder || c.length == 0) return;
        if (size % cluster != 0 || size == 0)
            flaw(FlawKind::bad_folder, n.path, "has a size that is no whole number of clusters");
        if (f.depth + 1 > Gathered::most_depth)
            return flaw(FlawKind::too_many, n.path,
                        fmt::format("lies more than {} folders deep", Gathered::most_depth));
        queue_.push_back({n.path, n.first_cluster, std::min(c.length * cluster, size), n.contiguous, f.depth + 1});
    }

    // The bitmap against what was reached from the root.
    void count() {
        const std::uint64_t clusters = s_.boot.clusters;
        const Claims& claims = chains_.claims();
        std::uint32_t at = bitmap_.first;
        Bytes part;
        for (std::uint64_t done = 0, end = (clusters + 7) / 8; done < end;) {
            const std::uint64_t within = done % s_.cluster_bytes();
            part.resize(std::min({read_bytes, s_.cluster_bytes() - within, end - done}));
            if (Status r = s_.device.read_at(s_.cluster_at(at) + within, part); !r)
                return flaw(FlawKind::unreadable, "", "has a bitmap that cannot be read: " + r.error().problem);
            for (std::size_t i = 0; i < part.size(); ++i) count_byte((done + i) * 8, part[i], claims);
            done += part.size();
            if (done % s_.cluster_bytes() != 0 || done >= end) continue;
            const auto link = s_.follow(at);
            if (!link || link->kind != Link::next) return;
            at = link->cluster;
        }
        out_.counted = !claims.gave_up();
    }

    void count_byte(std::uint64_t first, Byte bits, const Claims& claims) {
        const std::uint64_t n = std::min<std::uint64_t>(8, s_.boot.clusters - first);
        for (std::uint64_t k = 0; k < n; ++k) {
            const bool used = bits >> k & 1;
            const bool held = first + k < claims.clusters() && claims.has(first + k);
            if (!used) ++out_.clusters_free;
            if (used && !held && first + k < claims.clusters()) ++out_.clusters_lost;
            if (!used && held) ++out_.clusters_unmarked;
        }
    }

    Volume::State& s_;
    Chains chains_;
    std::vector<char16_t> upcase_;
    SystemFile bitmap_;
    std::deque<FolderToRead> queue_;
    std::unordered_set<std::size_t> names_;  // of the folder being read, hashed
    Bytes set_;                              // the entry set being read
    unsigned wanted_ = 0;                    // further entries that it wants
    Gathered g_;
    Listing& out_ = g_.out;
};

}  // namespace

Result<Listing> list_exfat(Volume::State& state, bool scan_fat) {
    return Walk(state).run(scan_fat);
}

}  // namespace fettle::card
