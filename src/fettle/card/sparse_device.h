// A large device of which little is used: only pages that were written take memory.
#pragma once

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

}  // namespace fettle::card
