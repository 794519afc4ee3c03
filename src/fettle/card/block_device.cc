#include "fettle/card/block_device.h"

#include <fmt/core.h>

#include <algorithm>

namespace fettle::card {
namespace {

Status within(const BlockDevice& d, std::uint64_t at, std::uint64_t length) {
    if (at <= d.size_bytes() && length <= d.size_bytes() - at) return {};
    return bad_input("past-the-end", fmt::format("{}, byte {}", d.name(), at),
                     fmt::format("{} bytes wanted here, but the card ends at byte {}", length, d.size_bytes()),
                     "the card or its image is cut short; lay it again");
}

}  // namespace

Status MemoryDevice::read_at(std::uint64_t at, ByteSpan out) {
    if (Status s = within(*this, at, out.size()); !s) return s;
    std::copy_n(bytes.begin() + static_cast<std::ptrdiff_t>(at), out.size(), out.begin());
    return {};
}

Status MemoryDevice::write_at(std::uint64_t at, ByteView data) {
    if (Status s = within(*this, at, data.size()); !s) return s;
    std::copy(data.begin(), data.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at));
    return {};
}

}  // namespace fettle::card
