// What is still to come, drawn from the odds of now: when each later act begins, when the run ends, how long the
// awaited sign may take. Draws are seeded by the position alone, so the same odds give the same answer.
#pragma once

#include <cstdint>
#include <vector>

#include "fettle/watch/follower.h"

namespace fettle::watch {

// The q-quantile of values, 0 when there are none. Sorts its copy.
double quantile(std::vector<double> values, double q);

class Future {
public:
    // At least one place; their p need not add up to 1.
    Future(const Model& model, const std::vector<Place>& places, std::size_t draws = 1200);

    struct Draw {
        std::size_t k = 0;
        double age_s = 0, lasts_s = 0;  // of the act it is in
    };
    const std::vector<Draw>& now() const { return now_; }
    // Seconds from now until act k begins; 0 for what has begun. k == chain size: the end.
    std::vector<double> begins(std::size_t k) const;
    // Share of the draws in which act k is yet to begin, and does within so many seconds.
    double begins_within(std::size_t k, double seconds) const;

private:
    std::size_t acts_ = 0;
    std::vector<Draw> now_;
    std::vector<double> begins_;  // draws × (acts + 1)
};

// How long the awaited sign takes from the last one, among good runs that came to it as this one did.
class Waiting {
public:
    Waiting(const Model& model, const std::vector<Place>& anchor, std::size_t awaited);
    double longer_than(double seconds) const;  // share of good runs, in [0, 1]; falls as seconds grow
    double quantile(double q) const;           // seconds

private:
    struct Part {
        std::size_t k = 0, level = 0;
        double age_s = 0, before_s = 0, weight = 0;
    };
    const Model& model_;
    std::vector<Part> parts_;
};

}  // namespace fettle::watch
