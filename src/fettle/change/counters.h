// Rollback counters as far as they are known. A box takes no release that leaves a lower counter than it has; what
// nobody says can be anything from the last that is known on, and is never taken for a counter that stands in no way.
#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "fettle/change/change.h"

namespace fettle::change {

struct Counter {  // from low to high
    static constexpr std::int64_t lowest = std::numeric_limits<std::int64_t>::min();
    static constexpr std::int64_t highest = std::numeric_limits<std::int64_t>::max();
    std::int64_t low = lowest, high = highest;

    bool known() const { return low == high; }
    bool operator==(const Counter&) const = default;
};

// Of a figure, if any, that a floor contradicts when it is below it: then only the floor counts.
Counter counter_from(std::optional<std::int64_t> figure, std::int64_t floor);

// What a box at that release has at least: the counters of the one-way doors up to it.
std::int64_t floor_of(const family::Family& family, const std::string& release);

Counter counter_in(const family::Family& family, const BoxState& box);
// What a release leaves: where index and family file name two, from the lower to the higher.
Counter counter_left(const family::Family& family, const family::Release& release);

// Of this family, by what its index says; one that says none is.
bool is_of(const family::Family& family, const family::Release& release);

// The family as it is known together with the shelf: a one-way door that only a package's index names is a door like
// any other, also for a box that went past it. Not one for other markets than the set's: no box here can have had it.
family::Family with_doors(const family::Family& family, const std::vector<family::Release>& shelf, const SetState& set);

// By the lowest that it may leave.
Truth takes(const Counter& box, const Counter& left);
// After it was taken: not below what the box had.
Counter counter_after(const Counter& box, const Counter& left);

// "1", "1 or more", "1 to 2", "not known"
std::string words(const Counter& counter);

}  // namespace fettle::change
