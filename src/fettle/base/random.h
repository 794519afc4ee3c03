// Chance that repeats itself: the same seed gives the same numbers with every compiler and standard library. Not for
// secrets.
#pragma once

#include <cstdint>

namespace fettle {

// SplitMix64 (Steele, Lea, Flood 2014): one 64-bit state, equidistributed, passes what a forecast needs.
class Random {
public:
    explicit Random(std::uint64_t seed) : state_(seed) {}
    std::uint64_t next() {
        std::uint64_t z = state_ += 0x9e3779b97f4a7c15u;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return z ^ (z >> 31);
    }
    // 0 … n−1, n > 0; bias below 2⁻³² for the n used here.
    std::uint64_t below(std::uint64_t n) { return ((next() >> 32) * n) >> 32; }
    // Evenly in (0, 1).
    double uniform() { return (static_cast<double>(next() >> 11) + 0.5) * 0x1p-53; }

private:
    std::uint64_t state_;
};

// A hash of words, one after the other: begins with hash_start. For tables in memory, never for anything kept.
inline constexpr std::uint64_t hash_start = 0x9e3779b97f4a7c15u;
inline std::uint64_t hash_on(std::uint64_t h, std::uint64_t word) {
    h = (h ^ word) * 0xff51afd7ed558ccdu;
    return h ^ h >> 32;
}

}  // namespace fettle
