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

Status FaultyDevice::read_at(std::uint64_t at, ByteSpan out) {
    if (plan_.fail_read_at != 0 && at <= plan_.fail_read_at && plan_.fail_read_at - at < out.size())
        return outside_error("device-read-failed", fmt::format("{}, byte {}", name(), at), "reading failed on purpose",
                             "try another card");
    return under_.read_at(at, out);
}

Status FaultyDevice::write_at(std::uint64_t at, ByteView data) {
    writes_.push_back({at, data.size(), syncs_});
    const std::uint64_t n = writes_.size();
    if (n == plan_.fail_write)
        return outside_error("device-write-failed", fmt::format("{}, byte {}", name(), at), "writing failed on purpose",
                             "try another card");
    if (n == plan_.drop_write || (plan_.lie_from != 0 && n >= plan_.lie_from)) return {};
    if (n == plan_.flip_write && !data.empty()) {
        Bytes changed(data.begin(), data.end());
        changed[changed.size() / 2] ^= 0x10;
        return under_.write_at(at, changed);
    }
    return under_.write_at(at, data);
}

Status FaultyDevice::sync() {
    if (++syncs_ == plan_.fail_sync)
        return outside_error("device-sync-failed", name(), "syncing failed on purpose", "try another card");
    return under_.sync();
}

}  // namespace fettle::card
