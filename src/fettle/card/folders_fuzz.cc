// Any bytes as folders: the input is the heap of a small volume that is otherwise right, so that every input reaches
// the entries. First byte: FAT16, FAT32 or exFAT, and whether long names' and entry sets' sums are put right first,
// which chance would never do.
#include <algorithm>
#include <cstdlib>

#include "fettle/card/exfat.h"
#include "fettle/card/fat_names.h"
#include "fettle/card/reader.h"

using namespace fettle;
using namespace fettle::card;

namespace {

constexpr std::size_t most_input = 128u << 10;
constexpr std::uint32_t clusters = 300;  // of one sector each
constexpr std::size_t entry = 32;

void must(bool holds) {
    if (!holds) std::abort();
}

// The top folder: clusters 2 to 17 in a row. All others: free, so that what the folders name is broken, or (every
// third) the end of a chain.
template <class Put>
void chains(Put put, std::uint32_t end) {
    for (std::uint32_t c = 2; c < clusters + 2; ++c) put(c, c < 17 ? c + 1 : c == 17 || c % 3 == 0 ? end : 0);
}

Bytes fat_volume(bool wide, ByteView heap) {
    const std::size_t reserved = wide ? 32 : 1, fat = 3, root = wide ? 0 : 32;
    const std::size_t first = reserved + fat + root;
    Bytes v((first + clusters) * 512);
    v[0] = 0xEB;
    store_le16(v, 11, 512);
    v[13] = 1;
    store_le16(v, 14, static_cast<std::uint16_t>(reserved));
    v[16] = 1;
    if (!wide) store_le16(v, 17, 512);
    store_le16(v, 19, static_cast<std::uint16_t>(first + clusters));
    v[21] = 0xF8;
    if (wide) {
        store_le32(v, 36, fat);
        store_le32(v, 44, 2);
        store_le16(v, 48, 1);
    } else {
        store_le16(v, 22, fat);
    }
    v[510] = 0x55, v[511] = 0xAA;
    const std::size_t at = reserved * 512;
    if (wide)
        chains([&](std::uint32_t c, std::uint32_t to) { store_le32(v, at + 4 * c, to); }, 0x0FFFFFFF);
    else
        chains([&](std::uint32_t c, std::uint32_t to) { store_le16(v, at + 2 * c, static_cast<std::uint16_t>(to)); },
               0xFFFF);
    const std::size_t from = (wide ? first : reserved + fat) * 512;
    std::copy_n(heap.begin(), std::min(heap.size(), v.size() - from), v.begin() + static_cast<std::ptrdiff_t>(from));
    return v;
}

Bytes exfat_volume(ByteView heap) {
    constexpr std::size_t fat_at = 24, heap_at = 32, sectors = 2048;
    Bytes v(sectors * 512);
    const std::string_view name =
        "\xEB\x76\x90"
        "EXFAT   ";
    std::copy(name.begin(), name.end(), v.begin());
    store_le64(v, 72, sectors);
    store_le32(v, 80, fat_at);
    store_le32(v, 84, 8);
    store_le32(v, 88, heap_at);
    store_le32(v, 92, clusters);
    store_le32(v, 96, 2);
    store_le16(v, 104, 0x0100);
    v[108] = 9;
    v[110] = 1;
    v[510] = 0x55, v[511] = 0xAA;
    chains([&](std::uint32_t c, std::uint32_t to) { store_le32(v, fat_at * 512 + 4 * c, to); }, 0xFFFFFFFF);
    std::copy_n(heap.begin(), std::min<std::size_t>(heap.size(), clusters * 512), v.begin() + heap_at * 512);
    return v;
}

void right_fat_sums(Bytes& heap) {
    for (std::size_t i = 0; i + entry <= heap.size(); i += entry) {
        if ((heap[i + 11] & 0x3F) == 0x0F) continue;
        ShortName name;
        std::copy_n(heap.begin() + static_cast<std::ptrdiff_t>(i), name.size(), name.begin());
        const Byte sum = long_name_sum(name);
        for (std::size_t k = i; k >= entry && (heap[k - entry + 11] & 0x3F) == 0x0F; k -= entry)
            heap[k - entry + 13] = sum;
    }
}

void right_exfat_sums(Bytes& heap) {
    for (std::size_t i = 0; i + entry <= heap.size(); i += entry) {
        const std::size_t length = (heap[i + 1] + std::size_t{1}) * entry;
        if (heap[i] == exfat::file_entry && i + length <= heap.size())
            store_le16(heap, i + 2, exfat::set_sum(ByteView(heap).subspan(i, length)));
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size == 0 || size > most_input) return 0;
    const unsigned kind = data[0] % 3;
    Bytes heap(data + 1, data + size);
    if (data[0] & 0x80) kind == 2 ? right_exfat_sums(heap) : right_fat_sums(heap);
    MemoryDevice device(kind == 2 ? exfat_volume(heap) : fat_volume(kind == 1, heap));
    std::optional<FatType> as;
    if (kind != 2) as = kind == 1 ? FatType::fat32 : FatType::fat16;
    auto volume = Volume::open_at(device, 0, as);
    must(volume.has_value());
    const auto listing = volume->list(true);
    must(listing.has_value());
    must(listing->clusters_used <= clusters);
    std::uint64_t whole = 0;
    for (const auto& n : listing->nodes) {
        must(!n.path.empty() && n.path.front() != '/' && n.path.find("//") == std::string::npos);
        if (n.folder || !n.whole) continue;
        std::uint64_t got = 0;
        must(volume
                 ->read(n,
                        [&](ByteView b) -> Status {
                            got += b.size();
                            return {};
                        })
                 .has_value());
        must(got == n.size);
        whole += n.size;
    }
    must(whole <= device.size_bytes());
    return 0;
}
