// Any bytes as a card of which only the table is asked: MBR, GPT and its sums, magics, and what would be lost.
#include <cstdlib>

#include "fettle/card/gpt.h"
#include "fettle/card/lay_device.h"
#include "fettle/card/reader.h"

using namespace fettle;
using namespace fettle::card;

namespace {

constexpr std::size_t most_input = 256u << 10;

void must(bool holds) {
    if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    if (size > most_input) return 0;
    MemoryDevice device(Bytes(data, data + size));
    if (const auto table = read_table(device)) {
        must(table->partitions.size() <= 128);
        for (const auto& p : table->partitions) (void)file_system_at(device, p.start * 512);
        if (table->kind == TableKind::gpt) (void)check_gpt(device);
    }
    must(!what_is_on(device).empty());
    (void)erase_old_marks(device);
    must(device.size_bytes() == size);
    // Nothing of the old card is taken for a volume any more.
    if (size >= 512) must(!Volume::open(device));
    return 0;
}
