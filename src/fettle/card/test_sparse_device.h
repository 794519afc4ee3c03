// A large device of which little is used: only pages that were written take memory.
#pragma once

#include <algorithm>
#include <cstdint>
#include <map>
#include <string>

#include "fettle/card/block_device.h"

namespace fettle::card {

class SparseDevice : public BlockDevice {
public:
    static constexpr std::uint64_t page_bytes = 32u << 10;

    SparseDevice(std::uint64_t size, bool is_fresh) : size_(size), fresh_(is_fresh) {}

    std::string name() const override { return "memory"; }
    std::uint64_t size_bytes() const override { return size_; }
    bool fresh() const override { return fresh_; }
    Status sync() override { return {}; }
    Status read_at(std::uint64_t at, ByteSpan out) override;
    Status write_at(std::uint64_t at, ByteView data) override;

private:
    template <class F>
    Status each_page(std::uint64_t at, std::uint64_t length, const F& f);

    std::map<std::uint64_t, Bytes> pages_;
    std::uint64_t size_;
    bool fresh_;
};

template <class F>
Status SparseDevice::each_page(std::uint64_t at, std::uint64_t length, const F& f) {
    if (at > size_ || length > size_ - at) return bad_input("past-the-end", name(), "lies behind the end", "");
    for (std::uint64_t done = 0; done < length;) {
        const std::uint64_t from = (at + done) % page_bytes, n = std::min(page_bytes - from, length - done);
        f((at + done) / page_bytes, from, n, done);
        done += n;
    }
    return {};
}

inline Status SparseDevice::read_at(std::uint64_t at, ByteSpan out) {
    return each_page(at, out.size(), [&](std::uint64_t page, std::uint64_t from, std::uint64_t n, std::uint64_t done) {
        const auto it = pages_.find(page);
        const ByteSpan part = out.subspan(done, n);
        if (it == pages_.end())
            std::fill(part.begin(), part.end(), Byte{0});
        else
            std::copy_n(it->second.begin() + static_cast<std::ptrdiff_t>(from), n, part.begin());
    });
}

inline Status SparseDevice::write_at(std::uint64_t at, ByteView data) {
    return each_page(at, data.size(), [&](std::uint64_t page, std::uint64_t from, std::uint64_t n, std::uint64_t done) {
        auto& p = pages_.try_emplace(page, page_bytes).first->second;
        std::copy_n(data.begin() + static_cast<std::ptrdiff_t>(done), n, p.begin() + static_cast<std::ptrdiff_t>(from));
    });
}

}  // namespace fettle::card
