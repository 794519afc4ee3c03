// Seeded draws of whole runs from the forecast's own windows: when does each act begin? One shared factor makes a slow
// stick slow in every act; its share of the spread is chosen so that the total's spread is the forecast's.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "fettle/forecast/forecast.h"

namespace fettle::watch {

class Paths {
public:
    // acts: ids in script order; an act that the forecast does not have lasts no time.
    Paths(const forecast::Forecast& forecast, const std::vector<std::string>& acts, std::size_t count = 3000);

    std::size_t count() const { return count_; }
    std::size_t acts() const { return acts_; }
    // Seconds since the start of the step; act == acts() is the end.
    double begins(std::size_t path, std::size_t act) const { return begins_[path * (acts_ + 1) + act]; }
    double total(std::size_t path) const { return begins(path, acts_); }

    // The quarter of the paths whose beginning of `act` is nearest to at_s (all of them for act 0).
    std::vector<std::size_t> nearest(std::size_t act, double at_s) const;
    // Four fifths of the fastest drawn time from one act's beginning to another's.
    double earliest(std::size_t from, std::size_t to) const;

private:
    std::size_t acts_ = 0, count_ = 0;
    std::vector<double> begins_;
};

// The q-quantile of values, 0 when there are none. Sorts its copy.
double quantile(std::vector<double> values, double q);

}  // namespace fettle::watch
