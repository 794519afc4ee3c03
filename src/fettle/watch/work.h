// What the box's own counts say of its pace: pieces cost time by number and by bytes, so neither the share of pieces
// nor the share of bytes is the share of time.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/tracker.h"

namespace fettle::watch {

// `done` pieces of `pieces` written in seconds, `overhead_s` known for each. nullopt when nothing follows: no piece
// done, or the overhead alone would have taken longer.
struct Learnt {
    double rate_bytes_s = 0;
    double total_s = 0;  // of all pieces
};
std::optional<Learnt> learn_rate(int done, std::uint64_t bytes_done, int pieces, std::uint64_t bytes, double overhead_s,
                                 double seconds);

struct Begun {  // an act of the script by index, and when a mark said that it began
    std::size_t act = 0;
    double at_s = 0;
};
// The last reading of the tally held against the write act that it falls in, when that act's beginning was marked.
std::optional<Work> work_of(const Step& step, const Observed& seen, const std::vector<Begun>& begun, double elapsed_s);

}  // namespace fettle::watch
