#include "fettle/card/block_device.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/card/sparse_device.h"

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

template <class F>
Status SparseDevice::each_page(std::uint64_t at, std::uint64_t length, const F& f) {
    if (Status s = within(*this, at, length); !s) return s;
    for (std::uint64_t done = 0; done < length;) {
        const std::uint64_t from = (at + done) % page_bytes, n = std::min(page_bytes - from, length - done);
        f((at + done) / page_bytes, from, n, done);
        done += n;
    }
    return {};
}

Status SparseDevice::read_at(std::uint64_t at, ByteSpan out) {
    return each_page(at, out.size(), [&](std::uint64_t page, std::uint64_t from, std::uint64_t n, std::uint64_t done) {
        const auto it = pages_.find(page);
        const ByteSpan part = out.subspan(done, n);
        if (it == pages_.end())
            std::fill(part.begin(), part.end(), Byte{0});
        else
            std::copy_n(it->second.begin() + static_cast<std::ptrdiff_t>(from), n, part.begin());
    });
}

Status SparseDevice::write_at(std::uint64_t at, ByteView data) {
    return each_page(at, data.size(), [&](std::uint64_t page, std::uint64_t from, std::uint64_t n, std::uint64_t done) {
        auto& p = pages_.try_emplace(page, page_bytes).first->second;
        std::copy_n(data.begin() + static_cast<std::ptrdiff_t>(done), n, p.begin() + static_cast<std::ptrdiff_t>(from));
    });
}

}  // namespace fettle::card
