// What is still to come, drawn from the odds of now: when each later act begins, when the run ends, how long the
// awaited sign may take. Draws are seeded by the position alone, so the same odds give the same answer.
#pragma once

#include <span>
#include <vector>

#include "fettle/watch/follower.h"

namespace fettle::watch {

// The q-quantile of values, 0 when there are none.
double quantile(std::span<const double> values, double q);

class Future {
public:
    // At least one place; their p need not add up to 1.
    Future(const Model& model, const std::vector<Place>& places, std::size_t draws = 1200);

    struct Draw {
        std::size_t k = 0;
        double age_s = 0, lasts_s = 0;  // of the act it is in
    };
    const std::vector<Draw>& now() const { return now_; }
    // Seconds from now until act k begins, draw by draw; 0 for what has begun. k == chain size: the end.
    std::span<const double> begins(std::size_t k) const& {
        return std::span(begins_).subspan(k * now_.size(), now_.size());
    }
    std::span<const double> begins(std::size_t) && = delete;  // it would refer to what is gone
    // Share of the draws in which act k is yet to begin, and does within so many seconds.
    double begins_within(std::size_t k, double seconds) const;

private:
    std::vector<Draw> now_;
    std::vector<double> begins_;  // (acts + 1) × draws
};

// How long the awaited sign takes from the last one, among good runs that came to it as this one did.
class Waiting {
public:
    Waiting(const Model& model, const std::vector<Place>& anchor, std::size_t awaited);
    double longer_than(double seconds) const;  // share of good runs, in [0, 1]; falls as seconds grow
    double quantile(double q) const;           // seconds
    // After it fewer than 1 good run in 100 is still waiting; seconds.
    double longest_s() const { return longest_s_; }

private:
    struct Part {
        std::size_t k = 0, level = 0;
        double age_s = 0, before_s = 0, weight = 0;
        double had = 1;  // share of good runs whose act k lasts beyond age_s
    };
    const Model& model_;
    std::vector<Part> parts_;
    double longest_s_ = 0;
};

}  // namespace fettle::watch
