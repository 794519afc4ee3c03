// A sum of how far readings lie above their level, less an allowance for each; it falls back to zero while nothing
// happens and grows steadily once the level has moved. It sees small lasting shifts long before a single reading would
// stand out, and where it last left zero is when the shift began.
#include "fettle/watch/cusum.h"

#include <algorithm>
#include <cmath>

namespace fettle::watch {
namespace {

constexpr std::size_t kLearn = 8, kNoise = 60;
// Eight readings tell a level no better than to a third of a standard deviation, so only shifts well beyond that count
// (by the same sums; a shift of two standard deviations is seen within some seven readings).
constexpr double kApart = 1, kAlarm = 6;

struct Level {
    double mean = 0, sigma = 0;
};

// Of series[from, from + kLearn): the median, and the spread by the median distance from it (one wild reading among
// eight must not make the level deaf).
Level level_of(const std::vector<SeriesPoint>& series, std::size_t from, double floor_sigma) {
    std::vector<double> v;
    for (std::size_t i = from; i < std::min(series.size(), from + kLearn); ++i) v.push_back(series[i].value);
    const auto middle = [](std::vector<double>& x) {
        std::nth_element(x.begin(), x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2), x.end());
        return x[x.size() / 2];
    };
    Level out;
    out.mean = middle(v);
    for (double& x : v) x = std::abs(x - out.mean);
    out.sigma = std::max(floor_sigma, 1.4826 * middle(v));  // of a normal distribution: 1 / 0.6745
    return out;
}

}  // namespace

Cusum::Cusum(double target, double sigma, double k, double h) : target_(target), sigma_(sigma), k_(k), h_(h) {}

int Cusum::take(double value) {
    if (!std::isfinite(value)) return 0;
    const double z = (value - target_) / sigma_;
    upper_ = std::max(0.0, upper_ + z - k_);
    lower_ = std::max(0.0, lower_ - z - k_);
    up_since_ = upper_ > 0 ? up_since_ + 1 : 0;
    down_since_ = lower_ > 0 ? down_since_ + 1 : 0;
    return upper_ > h_ ? 1 : lower_ > h_ ? -1 : 0;
}

// The noise from one reading to the next, which a change of level hardly touches.
double LevelSteps::quiet_sigma() const {
    if (noise_.empty()) return 0;
    std::vector<double> steps = noise_;
    const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
    std::nth_element(steps.begin(), middle, steps.end());
    return *middle * 1.4826 / std::sqrt(2.0);
}

std::optional<ChangePoint> LevelSteps::take(double at_s, double value) {
    if (!std::isfinite(value)) return std::nullopt;
    if (!stretch_.empty()) noise_.push_back(std::abs(value - stretch_.back().value));
    if (noise_.size() > kNoise) noise_.erase(noise_.begin());
    stretch_.push_back({at_s, value});
    if (sums_) {
        if (sums_->take(value) != 0) {
            // The new level begins where the sum left zero; what is there of it is learnt from.
            const auto of_it = std::min(stretch_.size(), static_cast<std::size_t>(std::max(1, sums_->since())));
            stretch_.erase(stretch_.begin(), stretch_.end() - static_cast<std::ptrdiff_t>(of_it));
            sums_.reset();
            stepped_ = true;
        } else if (stretch_.size() > kNoise) {
            stretch_.erase(stretch_.begin());
        }
        if (sums_) return std::nullopt;
    }
    if (stretch_.size() < kLearn) return std::nullopt;
    const Level level = level_of(stretch_, stretch_.size() - kLearn, std::max(floor_sigma_, quiet_sigma()));
    std::optional<ChangePoint> out;
    if (stepped_) out = ChangePoint{stretch_.front().at_s, before_, level.mean};
    stepped_ = false;
    before_ = level.mean;
    sums_.emplace(level.mean, level.sigma, kApart, kAlarm);
    return out;
}

}  // namespace fettle::watch
