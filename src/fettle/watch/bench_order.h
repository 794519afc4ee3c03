// Several jobs, some benches: which job on which bench, and in which order, so that all of them are done earliest at a
// stated certainty. Lengths are chances on a grid (watch/wall.h), taken as independent of each other; so the end of a
// bench is the sum of its jobs, the end of all the product of the benches. Up to ten jobs every division among the
// benches is looked at; of those that end equally early the order in which hands are asked for least at once.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/wall.h"

namespace fettle::watch {

inline constexpr std::size_t most_jobs_exact = 10;

struct BenchJob {
    std::string name;
    Spread takes;                // seconds from its start until the bench is free for the next
    std::vector<HandsAsk> asks;  // seconds from its start
};

struct BenchSlot {
    std::size_t job = 0;    // of the list
    std::size_t bench = 0;  // from 0
    Spread start, end;      // seconds from now
};

struct BenchOrder {
    std::vector<BenchSlot> slots;  // bench by bench, in order of start
    double end_s = 0;              // all done by then, at the certainty; waiting for hands is not in it
    bool exact = true;             // no division ends earlier; false: more jobs than are looked at, longest first
    std::vector<HandsAsk> asks;    // of all jobs on the shared clock; `bench` is the job's name
    std::vector<Clash> clashes;    // among those: who may wait for whom
};

// certainty: above 0, below or at 1; benches: at least 1. No jobs give no slots.
BenchOrder bench_order(const std::vector<BenchJob>& jobs, std::size_t benches, double certainty);

}  // namespace fettle::watch
