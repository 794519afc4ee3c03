// What the supply current says of each state: its level, how lively it is, and its steps.
//
// The level of one act differs from box to box and from supply to supply, often by more than two acts differ from each
// other. In the ratio of two levels that falls out, so a step tells better which act has begun. And a box that works
// draws now more, now less, while one that hangs does not: that shows in how even the readings are against the rest of
// this very run.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "fettle/watch/follower.h"

namespace fettle::watch {
namespace {

constexpr std::size_t kWindow = 30;
// ln of a window's spread against what is usual in the run: of a box that works, from act to act and by chance; and of
// one that draws evenly, anywhere between these (guesses).
constexpr double kLivelySpread = 0.35, kEvenFrom = -3.5, kEvenTo = -0.25;
// A step of the level, as ln(after / before): of a box that goes on as it was, where drift and peaks make small ones
// and now and then a large one, and of one that has begun another act; and how often either comes, a second (guesses).
constexpr double kDrifts = 0.12, kWild = 0.5, kStepSpread = 0.15;
constexpr double kFalseStep = 0.01, kTrueStep = 0.1, kStepOff_s = 6;

double normal_density(double x, double sd) {
    return std::exp(-x * x / (2 * sd * sd)) / (sd * std::sqrt(2 * std::numbers::pi));
}

}  // namespace

void Follower::take_amps(double amps, double weight) {
    const double range = std::max(2 * model_->top_A(), amps);
    const auto normal = [&](double mean, double sd) {
        const double z = (amps - mean) / sd;
        return std::exp(-z * z / 2) / (sd * std::sqrt(2 * std::numbers::pi));
    };
    const auto of = [&](std::size_t k) {
        const ChainAct& a = model_->chain()[k];
        if (act(k).wake.empty() == false && a.mean_A <= 0) return 0.9 * normal(0.05, 0.08) + 0.1 / range;
        return a.mean_A > 0 ? 0.97 * normal(a.mean_A, a.sd_A) + 0.03 / range : 1 / range;
    };
    const double low = model_->low_A() > 0 ? normal(0.6 * model_->low_A(), 0.25 * model_->low_A()) : 1 / range;
    const double stuck_low = std::pow(0.95 * low + 0.05 / range, weight);
    for (std::size_t k = 0; k < model_->chain().size(); ++k) {
        const double here = std::pow(of(k), weight);
        each_level(k, [&](std::size_t state) { now_.weigh(state, here); });
        now_.weigh(model_->stuck(k, kStuckLow), stuck_low);
        now_.weigh(model_->stuck(k, kStuckEven), here);
    }
    now_.weigh(model_->astray(), std::pow(1 / range, weight));
}

// A box that works draws now more, now less; one that hangs draws evenly, at whatever level. Judged by windows of
// thirty readings against what is usual in this run (shares: guesses).
void Follower::take_flatness(double amps) {
    window_.push_back(amps);
    if (window_.size() < kWindow) return;
    double squares = 0;
    for (std::size_t i = 1; i < window_.size(); ++i) {
        const double step = window_[i] - window_[i - 1];  // steps: a change of level in the window counts little
        squares += step * step;
    }
    window_.clear();
    // The very same figure thirty times tells of the meter's steps, or of an old value, not of the box.
    if (squares == 0) return;
    const double spread = std::sqrt(squares / (2.0 * (kWindow - 1)));
    const std::size_t n = spreads_.size();
    // The median of the run so far: a box that has hung for a while has not made it its own yet.
    const double usual = n == 0 ? 0 : n % 2 ? spreads_[n / 2] : std::sqrt(spreads_[n / 2 - 1] * spreads_[n / 2]);
    spreads_.insert(std::upper_bound(spreads_.begin(), spreads_.end(), spread), spread);
    if (usual <= 0) return;
    const double x = std::log(spread / usual);
    const double lively = 0.95 * normal_density(x, kLivelySpread) + 0.05 * normal_density(x, 1);
    const double even = x < kEvenTo && x > kEvenFrom ? 1 / (kEvenTo - kEvenFrom) : 1e-3;
    const auto of = [&](double share_even) { return share_even * even + (1 - share_even) * lively; };
    for (std::size_t k = 0; k < model_->chain().size(); ++k) {
        const ChainAct& a = model_->chain()[k];
        const double good = of(a.end || a.waits ? 0.3 : a.dark ? 0.1 : 0.03);
        each_level(k, [&](std::size_t state) { now_.weigh(state, good); });
        weigh_stuck(k, of(0.9));
    }
    now_.weigh(model_->astray(), of(0.2));
}

// The ratio of two levels does not depend on how much this very box, its supply and its leads draw: so a step tells
// more of which act has begun than the level itself.
void Follower::take_step(const ChangePoint& step) {
    if (!(step.before > 0.02) || !(step.after > 0.02)) return;
    const double x = std::log(step.after / step.before), ago_s = elapsed_ - step.at_s;
    const double wild = normal_density(x, kWild);
    const double goes_on = kFalseStep * (0.8 * normal_density(x, kDrifts) + 0.2 * wild);
    const auto& chain = model_->chain();
    for (std::size_t k = 0; k < chain.size(); ++k) {
        double begins = kTrueStep * wild;
        if (k > 0 && chain[k].mean_A > 0 && chain[k - 1].mean_A > 0)
            begins =
                kTrueStep *
                (0.9 * normal_density(x - std::log(chain[k].mean_A / chain[k - 1].mean_A), kStepSpread) + 0.1 * wild);
        each_level(k, [&](std::size_t state) {
            now_.weigh_by_age(state, [&](std::size_t age) {
                const double off_s = static_cast<double>(age) - ago_s;
                if (std::abs(off_s) <= kStepOff_s && k > 0) return goes_on + begins;
                return off_s < 0 && k > 0 ? goes_on + 0.3 * kTrueStep * wild : goes_on;  // or the act before began then
            });
        });
        const bool falls = step.before > model_->low_A() && step.after <= model_->low_A();
        now_.weigh(model_->stuck(k, kStuckLow), goes_on + (falls ? 0.3 * kTrueStep * wild : 0));
        now_.weigh(model_->stuck(k, kStuckEven), goes_on);
    }
    now_.weigh(model_->astray(), goes_on + kTrueStep * wild);
    now_.normalise();
}

}  // namespace fettle::watch
