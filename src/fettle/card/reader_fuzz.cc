// Any bytes as a card: the reader must end, stay within bounded memory, and never promise more bytes than there are.
#include <cstdlib>

#include "fettle/card/reader.h"

using namespace fettle;
using namespace fettle::card;

namespace {

constexpr std::size_t most_input = 256u << 10;

void must(bool holds) {
    if (!holds) std::abort();
}

void walk(BlockDevice& device, Volume& volume) {
    const auto listing = volume.list(true);
    if (!listing) return;
    const std::uint64_t cluster = std::uint64_t{volume.boot().sectors_per_cluster} * volume.boot().bytes_per_sector;
    must(listing->clusters_used * cluster <= device.size_bytes());
    std::uint64_t whole = 0;
    for (const auto& n : listing->nodes) {
        if (n.folder || !n.whole) continue;
        std::uint64_t got = 0;
        const Status s = volume.read(n, [&](ByteView b) -> Status {
            got += b.size();
            return {};
        });
        must(!s || got == n.size);  // only the device may fail
        must(s.has_value());
        whole += n.size;
    }
    must(whole <= device.size_bytes());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size > most_input) return 0;
    MemoryDevice device(Bytes(data, data + size));
    if (auto v = Volume::open(device)) walk(device, *v);
    for (const FatType t : {FatType::fat12, FatType::fat16, FatType::fat32})
        if (auto v = Volume::open_at(device, 0, t)) walk(device, *v);
    return 0;
}
