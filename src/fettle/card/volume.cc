// Reading a volume that may be damaged or made to mislead: every number of it is checked against the card before it is
// used, and FAT pages are held in a small cache, since chains that jump about would otherwise read a page for each
// step.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/volume_state.h"

namespace fettle::card {
namespace {

constexpr std::uint64_t read_bytes = 1u << 20;

}  // namespace

Result<ByteView> Pages::from(BlockDevice& device, std::uint64_t at) {
    if (at >= device.size_bytes())
        return bad_input("past-the-end", fmt::format("{}, byte {}", device.name(), at),
                         "the FAT goes on beyond the end of the card", "lay the card again");
    const std::uint64_t index = at / page_bytes;
    Page& page = pages_[index % slots];
    if (page.index != index) {
        page.index = ~std::uint64_t{0};
        page.bytes.resize(std::min<std::uint64_t>(page_bytes, device.size_bytes() - index * page_bytes));
        if (Status s = device.read_at(index * page_bytes, page.bytes); !s) return pass(s);
        page.index = index;
    }
    return ByteView(page.bytes).subspan(at - index * page_bytes);
}

std::uint64_t Volume::State::clusters_on_device() const {
    const std::uint64_t data = sector_at(boot.first_data_sector());
    if (device.size_bytes() <= data) return 0;
    return std::min(boot.clusters, (device.size_bytes() - data) / cluster_bytes());
}

std::uint32_t Volume::State::active_fat() const {
    if (type == FatType::exfat) return (boot.volume_flags & 1) && boot.fat_copies == 2 ? 1 : 0;
    const std::uint32_t named = boot.ext_flags & 0x0F;
    return (boot.ext_flags & 0x80) && named < boot.fat_copies ? named : 0;
}

Result<std::uint32_t> Volume::State::entry(std::uint32_t cluster, std::uint32_t copy) {
    if (cluster >= boot.clusters + 2)
        return bad_input("file-broken", fmt::format("cluster {}", cluster),
                         fmt::format("is not on the volume, whose last cluster is {}", boot.clusters + 1),
                         "lay the card again");
    const unsigned width = type == FatType::fat32 || type == FatType::exfat ? 4 : 2;
    const std::uint64_t offset =
        type == FatType::fat12 ? std::uint64_t{cluster} + cluster / 2 : std::uint64_t{cluster} * width;
    const std::uint64_t place = fat_at(copy) + offset;
    const auto there = pages.from(device, place);
    if (!there) return pass(there);
    std::uint32_t v = 0;
    if (there->size() >= width) {
        v = width == 4 ? load_le32(*there, 0) : load_le16(*there, 0);
    } else {  // FAT12, or a volume that does not begin on a sector: the entry goes on in the next page
        for (unsigned i = 0; i < width; ++i) {
            const auto byte = pages.from(device, place + i);
            if (!byte) return pass(byte);
            v |= std::uint32_t{(*byte)[0]} << (8 * i);
        }
    }
    if (type == FatType::fat12) return cluster % 2 ? v >> 4 : v & 0xFFF;
    return type == FatType::fat32 ? v & 0x0FFFFFFF : v;
}

Link Volume::State::meaning(std::uint32_t v) const {
    const std::uint32_t bad = type == FatType::exfat   ? 0xFFFFFFF7
                              : type == FatType::fat32 ? 0x0FFFFFF7
                              : type == FatType::fat16 ? 0xFFF7
                                                       : 0xFF7;
    if (v > bad) return {Link::end, 0};
    if (v == bad) return {Link::bad, 0};
    if (v == 0) return {Link::free, 0};
    return {in_range(v) ? Link::next : Link::out_of_range, v};
}

Result<Link> Volume::State::follow(std::uint32_t cluster) {
    const auto v = entry(cluster, active_fat());
    if (!v) return pass(v);
    return meaning(*v);
}

Volume::Volume(std::unique_ptr<State> s) : state_(std::move(s)) {}
Volume::Volume(Volume&&) noexcept = default;
Volume& Volume::operator=(Volume&&) noexcept = default;
Volume::~Volume() = default;

const BootSector& Volume::boot() const {
    return state_->boot;
}

FatType Volume::read_as() const {
    return state_->type;
}

std::uint64_t Volume::at_bytes() const {
    return state_->at;
}

Result<Volume> Volume::open(BlockDevice& device) {
    const auto table = read_table(device);
    if (!table) return pass(table);
    if (table->kind == TableKind::none) return open_at(device, 0);
    for (const auto& p : table->partitions)
        if (const auto found = file_system_at(device, p.start * sector_bytes); found == "FAT" || found == "exFAT")
            return open_at(device, p.start * sector_bytes);
    const std::uint64_t first = table->partitions.empty() ? 0 : table->partitions.front().start * sector_bytes;
    return open_at(device, first);
}

Result<Volume> Volume::open_at(BlockDevice& device, std::uint64_t at_bytes, std::optional<FatType> read_as) {
    const std::string found = file_system_at(device, at_bytes);
    if (found != "FAT" && found != "exFAT")
        return bad_input("no-fat-volume", fmt::format("{}, byte {}", device.name(), at_bytes),
                         found.empty() ? std::string("no file system is known by its mark here, FAT was expected")
                                       : fmt::format("holds {}, FAT was expected", found),
                         "lay the card again");
    Bytes sector(sector_bytes);
    if (Status s = device.read_at(at_bytes, sector); !s) return pass(s);
    auto boot = found == "FAT" ? parse_boot_sector(sector) : parse_exfat_boot_sector(sector);
    if (!boot) return pass(boot);
    if (boot->type == FatType::exfat)
        return Volume(std::make_unique<State>(State{device, at_bytes, std::move(*boot), FatType::exfat}));
    const bool unclear = boot->wide != (boot->type == FatType::fat32);
    if (unclear && !read_as)
        return bad_input("fat-type-unclear", fmt::format("{}, boot sector", device.name()),
                         fmt::format("is laid out as {}, but {} clusters make it {}", boot->wide ? "FAT32" : "FAT16",
                                     boot->clusters, words(boot->type)),
                         "lay the card again with a cluster size that suits it");
    const FatType type = read_as.value_or(boot->type);
    return Volume(std::make_unique<State>(State{device, at_bytes, std::move(*boot), type}));
}

Result<std::uint32_t> Volume::fat_entry(std::uint32_t cluster, std::uint32_t copy) {
    if (copy >= boot().fat_copies)
        return bad_input("file-broken", fmt::format("FAT {}", copy + 1), "is not on this volume", "lay the card again");
    return state_->entry(cluster, copy);
}

Status Volume::read_into(const Node& node, const std::function<Bytes()>& buffer,
                         const std::function<Status(Bytes)>& take) {
    State& s = *state_;
    const auto broken = [&](std::string what) -> Status {
        return bad_input("file-broken", printable(node.path), std::move(what), "lay the card again");
    };
    const std::uint64_t cluster_bytes = s.cluster_bytes();
    const auto clusters_of = [&](std::uint64_t n) { return n / cluster_bytes + (n % cluster_bytes != 0); };
    std::uint64_t left = node.size;
    std::uint32_t cluster = node.first_cluster;
    std::uint64_t within = 0;  // of the cluster, where one is larger than a block
    while (left > 0) {
        const std::uint64_t done = node.size - left;
        Bytes block = buffer();
        if (s.type == FatType::exfat && done >= node.valid) {  // never written: zeros, whatever stands there
            block.assign(std::min(left, read_bytes), Byte{0});
            left -= block.size();
            if (Status r = take(std::move(block)); !r) return r;
            continue;
        }
        if (!s.in_range(cluster)) return broken(fmt::format("cluster {} is not on the volume", cluster));
        // A run of neighbours is read in one go.
        const std::uint64_t wanted = clusters_of(std::min(left + within, read_bytes));
        const bool last_of_file = clusters_of(left + within) <= wanted;
        std::uint64_t run = 1;
        std::uint32_t next = 0;
        if (node.contiguous) {
            run = wanted;
            if (cluster - 2 + run > s.boot.clusters) return broken("its clusters go beyond the volume's end");
            next = cluster + static_cast<std::uint32_t>(run);
        } else {
            for (;; ++run) {
                const auto at = cluster + static_cast<std::uint32_t>(run) - 1;
                if (run == wanted && last_of_file) break;
                const auto link = s.follow(at);
                if (!link) return pass(link);
                if (link->kind != Link::next)
                    return broken(fmt::format("its chain ends {} bytes before its size",
                                              left - std::min(left, run * cluster_bytes - within)));
                next = link->cluster;
                if (run == wanted || next != at + 1) break;
            }
        }
        std::uint64_t bytes = std::min({left, run * cluster_bytes - within, read_bytes});
        if (s.type == FatType::exfat) bytes = std::min(bytes, node.valid - done);
        block.resize(bytes);
        if (Status r = s.device.read_at(s.cluster_at(cluster) + within, block); !r) return r;
        if (Status r = take(std::move(block)); !r) return r;
        left -= bytes;
        within += bytes;
        const std::uint64_t whole = within / cluster_bytes;
        within %= cluster_bytes;
        if (whole == run)
            cluster = next;
        else
            cluster += static_cast<std::uint32_t>(whole);
    }
    return {};
}

Status Volume::read(const Node& node, const std::function<Status(ByteView)>& sink) {
    Bytes spare;
    return read_into(
        node, [&] { return std::move(spare); },
        [&](Bytes block) {
            Status s = sink(block);
            spare = std::move(block);
            return s;
        });
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
