// What the box's own counts say of its pace: pieces cost time by number and by bytes, so neither the share of pieces
// nor the share of bytes is the share of time.
#pragma once

#include <cstdint>
#include <optional>

namespace fettle::watch {

// `done` pieces of `pieces` written in seconds, `overhead_s` known for each. nullopt when nothing follows: no piece
// done, or the overhead alone would have taken longer.
struct Learnt {
    double rate_bytes_s = 0;
    double total_s = 0;  // of all pieces
};
std::optional<Learnt> learn_rate(int done, std::uint64_t bytes_done, int pieces, std::uint64_t bytes, double overhead_s,
                                 double seconds);

}  // namespace fettle::watch
