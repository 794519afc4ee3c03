#include "fettle/card/card_map.h"

#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/text.h"
#include "fettle/card/geometry.h"
#include "fettle/card/reader.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t most_runs = 200000;                     // stretches of files and folders
constexpr std::uint64_t most_scanned = std::uint64_t{1} << 25;  // clusters looked at for lost ones

// A run of clusters.
struct Run {
    std::uint32_t first = 0;
    std::uint32_t count = 0;
    Ground ground = Ground::file;
    std::string name;
    std::size_t number = 0;
};

class Painter {
public:
    explicit Painter(std::uint64_t size) : size_(size) {
        if (size) spots_[0] = Spot{0, size, Ground::outside, {}, 0};
    }

    // Over whatever is there; what lies behind the card's end is cut off.
    void paint(std::uint64_t at, std::uint64_t length, Ground ground, std::string name = {}, std::size_t number = 0) {
        if (at >= size_ || length == 0) return;
        length = std::min(length, size_ - at);
        split(at);
        split(at + length);
        spots_.erase(spots_.lower_bound(at), spots_.lower_bound(at + length));
        spots_[at] = Spot{at, length, ground, std::move(name), number};
    }

    std::vector<Spot> take() {
        std::vector<Spot> out;
        for (auto& [at, s] : spots_) {
            const bool goes_on = !out.empty() && out.back().ground == s.ground && out.back().name == s.name &&
                                 out.back().number == s.number;
            if (goes_on)
                out.back().length += s.length;
            else
                out.push_back(std::move(s));
        }
        return out;
    }

private:
    void split(std::uint64_t at) {
        if (at >= size_) return;
        auto it = std::prev(spots_.upper_bound(at));
        if (it->first == at) return;
        Spot rest = it->second;
        rest.length = it->second.at + it->second.length - at;
        rest.at = at;
        it->second.length = at - it->first;
        spots_[at] = std::move(rest);
    }

    std::uint64_t size_;
    std::map<std::uint64_t, Spot> spots_;
};

class Mapper {
public:
    Mapper(BlockDevice& device, CardMap& map) : device_(device), map_(map), paint_(device.size_bytes()) {}

    Status draw() {
        const auto table = read_table(device_);
        if (!table) return pass(table);
        const std::uint64_t size = device_.size_bytes();
        map_.table = table->kind == TableKind::gpt ? "gpt" : table->kind == TableKind::mbr ? "mbr" : "none";
        if (table->kind == TableKind::none) {
            volume_at(0, size);
        } else {
            for (const auto& p : table->partitions)
                if (p.start < size / sector_bytes)
                    volume_at(p.start * sector_bytes,
                              std::min(p.sectors, size / sector_bytes - p.start) * sector_bytes);
            paint_.paint(0, table->kind == TableKind::gpt ? 34 * sector_bytes : sector_bytes, Ground::table);
            if (table->kind == TableKind::gpt && size > 33 * sector_bytes)
                paint_.paint(size - 33 * sector_bytes, 33 * sector_bytes, Ground::table, "backup");
        }
        map_.spots = paint_.take();
        for (const auto& s : map_.spots)
            if (s.ground != Ground::outside && s.ground != Ground::free &&
                !(s.ground == Ground::table && s.name == "backup"))
                map_.used_to = s.at + s.length;
        return {};
    }

private:
    void volume_at(std::uint64_t at, std::uint64_t length) {
        const std::string kind = file_system_at(device_, at);
        auto volume = Volume::open_at(device_, at);
        if (!volume || !map_.file_system.empty()) {
            if (volume) map_.not_drawn.push_back("the inside of further volumes");
            if (kind.empty() && !volume)
                paint_.paint(at, length, Ground::free, "nothing known by its mark");
            else
                paint_.paint(at, length, Ground::other, kind.empty() ? "a volume" : kind);
            return;
        }
        map_.file_system = words(volume->type());
        inside(*volume, at);
    }

    void inside(Volume& volume, std::uint64_t at) {
        const auto& b = volume.boot();
        const std::uint64_t sector = b.bytes_per_sector, cluster = b.sectors_per_cluster * sector;
        const std::uint64_t fat = b.reserved * sector, fats = b.fat_copies * b.fat_sectors * sector;
        const bool exfat = volume.type() == FatType::exfat;
        const std::uint64_t data = at + (exfat ? b.heap_sector : b.first_data_sector()) * sector;
        if (b.total_sectors * sector > device_.size_bytes() - std::min(at, device_.size_bytes()))
            map_.not_drawn.push_back(fmt::format("{} that the file system says it has behind the end of the card",
                                                 human_bytes(b.total_sectors * sector - (device_.size_bytes() - at))));
        paint_.paint(at, b.total_sectors * sector, Ground::free);
        paint_.paint(at, fat, Ground::boot);
        paint_.paint(at + fat, fats, Ground::fat);
        // FAT12 and FAT16: their root folder; exFAT: room up to the cluster heap.
        paint_.paint(at + fat + fats, data - std::min(data, at + fat + fats), exfat ? Ground::free : Ground::folder,
                     exfat ? "" : "/");

        const auto listing = volume.list();
        map_.label = printable(listing && !listing->label.empty() ? listing->label : b.label);
        std::vector<Run> runs;
        if (b.root_cluster >= 2) walk(volume, b.root_cluster, 4096, Ground::folder, "/", 0, runs);
        if (!listing) {
            map_.not_drawn.push_back("files: the folders cannot be read");
        } else {
            for (const auto& n : listing->nodes) {
                if (!n.folder) ++map_.files;
                if (n.first_cluster < 2) continue;
                const std::uint64_t most = n.folder ? 4096 : (n.size + cluster - 1) / cluster;
                const Ground ground = !n.whole ? Ground::trouble : n.folder ? Ground::folder : Ground::file;
                const std::string name = n.whole ? printable(n.path)
                                                 : fmt::format("'{}' does not lie on the card as its {} wants",
                                                               printable(n.path), n.folder ? "folder" : "size");
                const std::size_t before = runs.size();
                if (n.contiguous)  // exFAT: the FAT says nothing of it; of a folder at least its first cluster
                    runs.push_back(
                        {n.first_cluster,
                         static_cast<std::uint32_t>(n.folder ? 1 : std::min<std::uint64_t>(most, b.clusters)), ground,
                         name, n.folder ? 0 : map_.files});
                else
                    walk(volume, n.first_cluster, most, ground, name, n.folder ? 0 : map_.files, runs);
                if (!n.folder) map_.stretches += runs.size() - before;
            }
        }
        // Trouble is painted last, so that it is seen over what it shares a cluster with.
        for (const bool trouble : {false, true})
            for (const auto& r : runs)
                if ((r.ground == Ground::trouble) == trouble)
                    paint_.paint(data + std::uint64_t{r.first - 2} * cluster, r.count * cluster, r.ground, r.name,
                                 r.number);
        if (exfat)
            map_.not_drawn.push_back("bitmap, up-case table and lost clusters of exFAT: they show as free");
        else
            lost(volume, runs, data, cluster);
    }

    // The chain from its first cluster on, as runs; at most so many clusters, whatever the FAT says.
    void walk(Volume& volume, std::uint32_t first, std::uint64_t most, Ground ground, const std::string& name,
              std::size_t number, std::vector<Run>& runs) {
        const std::uint64_t last = volume.boot().clusters + 1;
        std::uint32_t c = first;
        for (std::uint64_t n = 0; n < most && c >= 2 && c <= last; ++n) {
            if (n > 0 && runs.back().first + runs.back().count == c) {
                ++runs.back().count;
            } else {
                if (runs.size() >= most_runs) {
                    if (!left_out_) map_.not_drawn.push_back("files in more than 200,000 stretches");
                    left_out_ = true;
                    return;
                }
                runs.push_back({c, 1, ground, name, number});
            }
            const auto next = volume.fat_entry(c);
            if (!next) return;
            c = *next;
        }
    }

    // Marked used or bad, and reached from nowhere.
    void lost(Volume& volume, std::vector<Run> runs, std::uint64_t data, std::uint64_t cluster) {
        if (left_out_) return;
        const std::uint64_t last = volume.boot().clusters + 1;
        if (last > most_scanned) {
            map_.not_drawn.push_back("lost and bad clusters: the volume has too many to look at each");
            return;
        }
        std::sort(runs.begin(), runs.end(), [](const Run& a, const Run& b) { return a.first < b.first; });
        const std::uint32_t bad = volume.type() == FatType::fat12   ? 0xFF7
                                  : volume.type() == FatType::fat16 ? 0xFFF7
                                                                    : 0x0FFFFFF7;
        auto run = runs.begin();
        std::uint64_t reached = 2;  // the first cluster that no run so far holds
        std::uint32_t from = 0, count = 0;
        Ground ground = Ground::lost;
        const auto flush = [&] {
            if (count)
                paint_.paint(data + std::uint64_t{from - 2} * cluster, count * cluster, ground,
                             ground == Ground::trouble ? "marked bad" : "");
            count = 0;
        };
        for (std::uint32_t c = 2; c <= last; ++c) {
            for (; run != runs.end() && run->first <= c; ++run)
                reached = std::max<std::uint64_t>(reached, std::uint64_t{run->first} + run->count);
            if (c < reached) {
                flush();
                continue;
            }
            const auto entry = volume.fat_entry(c);
            if (!entry) break;
            const Ground here = *entry == bad ? Ground::trouble : Ground::lost;
            if (*entry == 0 || (count && here != ground)) flush();
            if (*entry == 0) continue;
            if (count++ == 0) {
                from = c;
                ground = here;
            }
        }
        flush();
    }

    BlockDevice& device_;
    CardMap& map_;
    Painter paint_;
    bool left_out_ = false;
};

}  // namespace

std::string_view words(Ground g) {
    switch (g) {
        case Ground::outside: return "outside";
        case Ground::free: return "free";
        case Ground::other: return "other";
        case Ground::lost: return "lost";
        case Ground::file: return "file";
        case Ground::folder: return "folder";
        case Ground::fat: return "fat";
        case Ground::boot: return "boot";
        case Ground::table: return "table";
        case Ground::trouble: break;
    }
    return "trouble";
}

Result<CardMap> map_card(BlockDevice& device) {
    CardMap map;
    map.card_bytes = device.size_bytes();
    if (Status s = Mapper(device, map).draw(); !s) return pass(s);
    return map;
}

std::vector<const Spot*> columns_of(const CardMap& map, std::uint64_t from, std::uint64_t to, std::size_t columns) {
    std::vector<const Spot*> out(columns, nullptr);
    if (to <= from || columns == 0) return out;
    const double per = static_cast<double>(to - from) / static_cast<double>(columns);
    for (const auto& s : map.spots) {
        if (s.at >= to || s.at + s.length <= from) continue;
        const double a = static_cast<double>(std::max(s.at, from) - from) / per;
        const double b = static_cast<double>(std::min(s.at + s.length, to) - from) / per;
        const auto first = std::min(columns - 1, static_cast<std::size_t>(a));
        const auto last = std::min(columns - 1, static_cast<std::size_t>(std::max(a, b - 1e-9)));
        for (std::size_t c = first; c <= last; ++c)
            if (!out[c] || s.ground > out[c]->ground) out[c] = &s;
    }
    return out;
}

std::uint64_t zoom_end(const CardMap& map) {
    return std::min(map.card_bytes, map.used_to + map.used_to / 16);
}

std::string place_of(std::uint64_t bytes) {
    if (bytes >= std::uint64_t{1} << 30) return fmt::format("{:.2f} GiB", static_cast<double>(bytes) / (1u << 30));
    if (bytes >= 1u << 20) return fmt::format("{:.1f} MiB", static_cast<double>(bytes) / (1u << 20));
    return human_bytes(bytes);
}

}  // namespace fettle::card
