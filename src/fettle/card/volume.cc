#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/volume_state.h"

namespace fettle::card {
namespace {

constexpr std::size_t page_bytes = 64u << 10;
constexpr std::uint64_t read_bytes = 1u << 20;

}  // namespace

std::uint64_t Volume::State::clusters_on_device() const {
    const std::uint64_t data = sector_at(boot.first_data_sector());
    if (device.size_bytes() <= data) return 0;
    return std::min(boot.clusters, (device.size_bytes() - data) / cluster_bytes());
}

Result<Byte> Volume::State::fat_byte(std::uint64_t offset, std::uint32_t copy) {
    const std::uint64_t place = sector_at(boot.reserved + copy * boot.fat_sectors) + offset;
    if (page_at == ~std::uint64_t{0} || place < page_at || place - page_at >= page.size()) {
        const std::uint64_t from = place / page_bytes * page_bytes;
        page_at = ~std::uint64_t{0};
        if (place >= device.size_bytes())
            return bad_input("past-the-end", fmt::format("{}, byte {}", device.name(), place),
                             "the FAT goes on beyond the end of the card", "lay the card again");
        page.resize(std::min<std::uint64_t>(page_bytes, device.size_bytes() - from));
        if (Status s = device.read_at(from, page); !s) return pass(s);
        page_at = from;
    }
    return page[place - page_at];
}

Result<std::uint32_t> Volume::State::entry(std::uint32_t cluster, std::uint32_t copy) {
    if (cluster >= boot.clusters + 2)
        return bad_input("file-broken", fmt::format("cluster {}", cluster),
                         fmt::format("is not on the volume, whose last cluster is {}", boot.clusters + 1),
                         "lay the card again");
    const unsigned width = type == FatType::fat32 ? 4 : 2;
    const std::uint64_t offset =
        type == FatType::fat12 ? std::uint64_t{cluster} + cluster / 2 : std::uint64_t{cluster} * width;
    std::uint32_t v = 0;
    for (unsigned i = 0; i < width; ++i) {
        const auto b = fat_byte(offset + i, copy);
        if (!b) return pass(b);
        v |= std::uint32_t{*b} << (8 * i);
    }
    if (type == FatType::fat12) return cluster % 2 ? v >> 4 : v & 0xFFF;
    return v & 0x0FFFFFFF;
}

Result<Link> Volume::State::follow(std::uint32_t cluster) {
    // Without mirroring one copy is the active one (specification 1.03, BPB_ExtFlags).
    const std::uint32_t named = boot.ext_flags & 0x0F;
    const std::uint32_t active = (boot.ext_flags & 0x80) && named < boot.fat_copies ? named : 0;
    const auto v = entry(cluster, active);
    if (!v) return pass(v);
    const std::uint32_t top = type == FatType::fat32 ? 0x0FFFFFF7 : type == FatType::fat16 ? 0xFFF7 : 0xFF7;
    if (*v > top) return Link{Link::end, 0};
    if (*v == top) return Link{Link::bad, 0};
    if (*v == 0) return Link{Link::free, 0};
    return in_range(*v) ? Link{Link::next, *v} : Link{Link::out_of_range, *v};
}

Volume::Volume(std::unique_ptr<State> s) : state_(std::move(s)) {}
Volume::Volume(Volume&&) noexcept = default;
Volume& Volume::operator=(Volume&&) noexcept = default;
Volume::~Volume() = default;

const BootSector& Volume::boot() const {
    return state_->boot;
}

std::uint64_t Volume::at_bytes() const {
    return state_->at;
}

Result<Volume> Volume::open(BlockDevice& device) {
    const auto table = read_table(device);
    if (!table) return pass(table);
    if (table->kind == TableKind::none) return open_at(device, 0);
    for (const auto& p : table->partitions)
        if (file_system_at(device, p.start * sector_bytes) == "FAT") return open_at(device, p.start * sector_bytes);
    const std::uint64_t first = table->partitions.empty() ? 0 : table->partitions.front().start * sector_bytes;
    return open_at(device, first);
}

Result<Volume> Volume::open_at(BlockDevice& device, std::uint64_t at_bytes, std::optional<FatType> read_as) {
    const std::string found = file_system_at(device, at_bytes);
    if (found != "FAT")
        return bad_input("no-fat-volume", fmt::format("{}, byte {}", device.name(), at_bytes),
                         found.empty() ? std::string("no file system is known by its mark here, FAT was expected")
                                       : fmt::format("holds {}, FAT was expected", found),
                         "lay the card again");
    Bytes sector(sector_bytes);
    if (Status s = device.read_at(at_bytes, sector); !s) return pass(s);
    auto boot = parse_boot_sector(sector);
    if (!boot) return pass(boot);
    const bool unclear = boot->wide != (boot->type == FatType::fat32);
    if (unclear && !read_as)
        return bad_input("fat-type-unclear", fmt::format("{}, boot sector", device.name()),
                         fmt::format("is laid out as {}, but {} clusters make it {}", boot->wide ? "FAT32" : "FAT16",
                                     boot->clusters, words(boot->type)),
                         "lay the card again with a cluster size that suits it");
    const FatType type = read_as.value_or(boot->type);
    return Volume(std::make_unique<State>(State{device, at_bytes, std::move(*boot), type, ~std::uint64_t{0}, {}}));
}

Result<std::uint32_t> Volume::fat_entry(std::uint32_t cluster, std::uint32_t copy) {
    if (copy >= boot().fat_copies)
        return bad_input("file-broken", fmt::format("FAT {}", copy + 1), "is not on this volume", "lay the card again");
    return state_->entry(cluster, copy);
}

Status Volume::read(const Node& node, const std::function<Status(ByteView)>& sink) {
    State& s = *state_;
    const auto broken = [&](std::string what) -> Status {
        return bad_input("file-broken", printable(node.path), std::move(what), "lay the card again");
    };
    Bytes buffer;
    std::uint64_t left = node.size;
    std::uint32_t cluster = node.first_cluster;
    while (left > 0) {
        if (!s.in_range(cluster)) return broken(fmt::format("cluster {} is not on the volume", cluster));
        // A run of neighbours is read in one go.
        std::uint64_t run = 1;
        std::uint32_t next = 0;
        const std::uint64_t wanted = (std::min(left, read_bytes) + s.cluster_bytes() - 1) / s.cluster_bytes();
        const bool last_of_file = (left + s.cluster_bytes() - 1) / s.cluster_bytes() <= wanted;
        for (;; ++run) {
            const auto at = cluster + static_cast<std::uint32_t>(run) - 1;
            if (run == wanted && last_of_file) break;
            const auto link = s.follow(at);
            if (!link) return pass(link);
            if (link->kind != Link::next)
                return broken(fmt::format("its chain ends {} bytes before its size",
                                          left - std::min(left, run * s.cluster_bytes())));
            next = link->cluster;
            if (run == wanted || next != at + 1) break;
        }
        const std::uint64_t bytes = std::min(left, run * s.cluster_bytes());
        buffer.resize(bytes);
        if (Status r = s.device.read_at(s.cluster_at(cluster), buffer); !r) return r;
        if (Status r = sink(buffer); !r) return r;
        left -= bytes;
        cluster = next;
    }
    return {};
}

Result<Bytes> Volume::read_all(const Node& node, std::uint64_t limit_bytes) {
    if (node.size > limit_bytes)
        return bad_input("file-too-large", printable(node.path),
                         fmt::format("has {} bytes, at most {} were expected", node.size, limit_bytes),
                         "check that this is the right card");
    Bytes out;
    const Status s = read(node, [&](ByteView b) -> Status {
        append(out, b);
        return {};
    });
    if (!s) return pass(s);
    return out;
}

}  // namespace fettle::card
