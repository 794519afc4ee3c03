// Which clusters are held already: a set of cluster numbers in bounded memory. Stretches that are held whole cost
// nothing but a mark, so that one huge file on a huge card does not either.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

namespace fettle::card {

class Claims {
public:
    static constexpr std::uint64_t stretch = 32768;       // clusters; 4 KiB of bits
    static constexpr std::size_t most_stretches = 12288;  // 48 MiB of bits: more than FAT32 has

    explicit Claims(std::uint64_t clusters);

    std::uint64_t clusters() const { return clusters_; }
    std::uint64_t held() const { return held_; }
    // Numbers from 0 on, below clusters().
    bool has(std::uint64_t i) const {
        const auto& s = stretches_[i / stretch];
        if (!s.bits) return s.whole;
        return s.bits[i % stretch / 64] >> (i % 64) & 1;
    }
    void take(std::uint64_t i);
    // Takes numbers from `first` on until `n` are taken or one is held already; returns how many were taken.
    std::uint64_t take_run(std::uint64_t first, std::uint64_t n);
    // Too many stretches are held in part: what is claimed from then on was not kept, so has() may answer no.
    bool gave_up() const { return gave_up_; }

private:
    struct Stretch {
        std::unique_ptr<std::uint64_t[]> bits;
        std::uint32_t count = 0;
        bool whole = false;
    };
    std::uint64_t size_of(std::uint64_t index) const;

    std::uint64_t clusters_;
    std::uint64_t held_ = 0;
    std::size_t in_bits_ = 0;
    bool gave_up_ = false;
    std::vector<Stretch> stretches_;
};

}  // namespace fettle::card
