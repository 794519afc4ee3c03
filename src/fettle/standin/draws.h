// Inside the stand-in only: chance, each draw named by what it is for, so that nothing depends on how often or in what
// order somebody looked.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <string_view>

#include "fettle/family/family.h"

namespace fettle::standin {

inline constexpr double z90 = 1.2815515655446004;  // 90 % point of the normal distribution

class Draws {
public:
    explicit Draws(std::uint64_t seed) : seed_(seed) {}

    // Evenly in (0, 1).
    double even(std::string_view what, std::uint64_t a = 0, std::uint64_t b = 0) const {
        return (static_cast<double>(bits(what, a, b) >> 11) + 0.5) / 9007199254740992.0;
    }
    double normal(std::string_view what, std::uint64_t a = 0, std::uint64_t b = 0) const {
        const double u = even(what, a, 2 * b), v = even(what, a, 2 * b + 1);
        return std::sqrt(-2.0 * std::log(u)) * std::cos(2.0 * std::numbers::pi * v);
    }
    std::uint64_t bits(std::string_view what, std::uint64_t a, std::uint64_t b) const {
        std::uint64_t h = mix(seed_ + 0x9E3779B97F4A7C15ull);
        for (const char c : what) h = mix(h ^ static_cast<unsigned char>(c));
        return mix(mix(h ^ a) ^ b);
    }

private:
    static std::uint64_t mix(std::uint64_t x) {
        x ^= x >> 30;
        x *= 0xBF58476D1CE4E5B9ull;
        x ^= x >> 27;
        x *= 0x94D049BB133111EBull;
        return x ^ x >> 31;
    }
    std::uint64_t seed_;
};

// A box is fast or slow as a whole: this part of the spread is shared by all acts of a run. [the stand-in's own nature]
inline constexpr double shared_sd = 0.08;

// ln of a time is normal: the spread of the act itself beside the shared part.
inline double own_sd(double whole_sd) {
    return std::sqrt(std::max(0.0, whole_sd * whole_sd - shared_sd * shared_sd));
}
inline double sd_of(const family::Duration& d) {
    return d.median_s > 0 && d.p90_s > d.median_s ? std::log(d.p90_s / d.median_s) / z90 : 0.0;
}

}  // namespace fettle::standin
