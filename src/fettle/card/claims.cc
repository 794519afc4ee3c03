// A bit for each cluster, but only where bits are needed: stretches of which nothing or everything is held have none. A
// card that lies in more pieces than the bound is given up on, and that is said, rather than let it take all memory.
#include "fettle/card/claims.h"

#include <algorithm>

namespace fettle::card {

Claims::Claims(std::uint64_t clusters) : clusters_(clusters), stretches_((clusters + stretch - 1) / stretch) {}

std::uint64_t Claims::size_of(std::uint64_t index) const {
    return std::min(stretch, clusters_ - index * stretch);
}

void Claims::take(std::uint64_t i) {
    Stretch& s = stretches_[i / stretch];
    if (s.whole) return;
    if (!s.bits) {
        if (in_bits_ == most_stretches) {
            gave_up_ = true;
            return;
        }
        ++in_bits_;
        s.bits = std::make_unique<std::uint64_t[]>(stretch / 64);
    }
    std::uint64_t& word = s.bits[i % stretch / 64];
    const std::uint64_t bit = std::uint64_t{1} << (i % 64);
    if (word & bit) return;
    word |= bit;
    ++held_;
    if (++s.count == size_of(i / stretch)) {
        s.bits.reset();
        s.whole = true;
        --in_bits_;
    }
}

std::uint64_t Claims::take_run(std::uint64_t first, std::uint64_t n) {
    for (std::uint64_t done = 0; done < n;) {
        const std::uint64_t at = first + done;
        Stretch& s = stretches_[at / stretch];
        const std::uint64_t size = size_of(at / stretch);
        if (at % stretch == 0 && n - done >= size && !s.bits && !s.whole) {
            s.whole = true;
            held_ += size;
            done += size;
        } else if (has(at)) {
            return done;
        } else {
            take(at);
            ++done;
        }
    }
    return n;
}

}  // namespace fettle::card
