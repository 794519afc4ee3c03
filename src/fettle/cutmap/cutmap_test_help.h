// The map of the example family, with and without its time axis.
#pragma once

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include <chrono>

#include "fettle/change/test_releases.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/cutmap/test_naive.h"
#include "fettle/cutmap/test_random.h"

namespace fettle::cutmap {

using namespace change::test;
using namespace random_families;
using enum Outcome;

inline CutMap map_of(const family::Family& f, const change::ChangeSheet& s, int k = 1) {
    return power_cut_map(f, s, forecast::forecast(f, s, {}), k);
}

// Without a time axis: outcomes do not need one, and drawing it is most of the work.
inline CutMap outcomes_of(const family::Family& f, const change::ChangeSheet& s, int k) {
    return power_cut_map(f, s, {}, k);
}

inline change::ChangeSheet dunnock_sheet(int system = 3) {
    const auto from = release("27.1.110", "3.0", "", 1, system);
    const auto to = release("27.3.118", "4.0", "", 1, system);
    const auto set = set_at("27.1.110");
    return change::change_sheet(dunnock(), to, change::infer(from, set), set);
}

}  // namespace fettle::cutmap
