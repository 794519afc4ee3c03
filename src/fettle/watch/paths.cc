#include "fettle/watch/paths.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <random>
#include <string>

namespace fettle::watch {
namespace {

constexpr double kZ90 = 1.2815515655446004;  // the 90 % point of the standard normal distribution

struct LogNormal {
    double median_s = 0, sigma = 0;
};

// Standard normals by Box and Muller from a generator whose numbers the C++ standard fixes: the same on every machine.
class Normals {
public:
    explicit Normals(std::uint64_t seed) : random_(seed) {}
    double next() {
        if (spare_ready_) {
            spare_ready_ = false;
            return spare_;
        }
        const double u = (static_cast<double>(random_() >> 11) + 0.5) * 0x1p-53;
        const double v = static_cast<double>(random_() >> 11) * 0x1p-53;
        const double r = std::sqrt(-2 * std::log(u));
        spare_ = r * std::sin(2 * std::numbers::pi * v);
        spare_ready_ = true;
        return r * std::cos(2 * std::numbers::pi * v);
    }

private:
    std::mt19937_64 random_;
    double spare_ = 0;
    bool spare_ready_ = false;
};

double lasts(const LogNormal& d, double shared, double own, double share) {
    if (d.median_s <= 0) return 0;
    return d.median_s * std::exp(d.sigma * (std::sqrt(share) * shared + std::sqrt(1 - share) * own));
}

std::vector<double> totals(const std::vector<LogNormal>& acts, const std::vector<double>& z, std::size_t count,
                           double share) {
    std::vector<double> out(count);
    const std::size_t stride = acts.size() + 1;
    for (std::size_t p = 0; p < count; ++p) {
        double sum = 0;
        for (std::size_t a = 0; a < acts.size(); ++a)
            sum += lasts(acts[a], z[p * stride], z[p * stride + a + 1], share);
        out[p] = sum;
    }
    return out;
}

}  // namespace

double quantile(std::vector<double> values, double q) {
    if (values.empty()) return 0;
    const auto k = static_cast<std::size_t>(
        std::clamp(std::ceil(q * static_cast<double>(values.size())) - 1, 0.0, static_cast<double>(values.size() - 1)));
    std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(k), values.end());
    return values[k];
}

Paths::Paths(const forecast::Forecast& forecast, const std::vector<std::string>& acts, std::size_t count)
    : acts_(acts.size()), count_(count) {
    std::vector<LogNormal> d(acts_);
    for (std::size_t a = 0; a < acts_; ++a) {
        for (const forecast::StateWindow& w : forecast.states) {
            if (w.act != acts[a] || !(w.lasts.p50_s > 0)) continue;
            d[a].median_s = w.lasts.p50_s;
            if (w.lasts.p90_s > w.lasts.p50_s) d[a].sigma = std::log(w.lasts.p90_s / w.lasts.p50_s) / kZ90;
        }
    }
    const std::size_t stride = acts_ + 1;
    std::vector<double> z(count_ * stride);
    Normals normals(20261125);
    for (double& v : z) v = normals.next();

    double share = 0;
    double scale = 1;
    if (forecast.total.p50_s > 0) {
        const double wanted = forecast.total.p90_s / forecast.total.p50_s;
        double low = 0, high = 1;
        for (int i = 0; i < 8; ++i) {  // the spread of the sum grows with the shared part
            share = (low + high) / 2;
            const auto t = totals(d, z, std::min<std::size_t>(count_, 1000), share);
            const double median = quantile(t, 0.5);
            if (!(median > 0)) break;
            (quantile(t, 0.9) / median < wanted ? low : high) = share;
        }
        const double median = quantile(totals(d, z, count_, share), 0.5);
        if (median > 0) scale = forecast.total.p50_s / median;
    }
    begins_.resize(count_ * stride);
    for (std::size_t p = 0; p < count_; ++p) {
        double at = 0;
        for (std::size_t a = 0; a < acts_; ++a) {
            begins_[p * stride + a] = at;
            at += scale * lasts(d[a], z[p * stride], z[p * stride + a + 1], share);
        }
        begins_[p * stride + acts_] = at;
    }
}

std::vector<std::size_t> Paths::nearest(std::size_t act, double at_s) const {
    std::vector<std::size_t> order(count_);
    std::iota(order.begin(), order.end(), std::size_t{0});
    if (act == 0) return order;
    const std::size_t keep = std::max<std::size_t>(1, count_ / 4);
    std::nth_element(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(keep - 1), order.end(),
                     [&](std::size_t a, std::size_t b) {
                         const double da = std::abs(begins(a, act) - at_s), db = std::abs(begins(b, act) - at_s);
                         return da < db || (da == db && a < b);
                     });
    order.resize(keep);
    return order;
}

double Paths::earliest(std::size_t from, std::size_t to) const {
    double least = count_ ? begins(0, to) - begins(0, from) : 0;
    for (std::size_t p = 1; p < count_; ++p) least = std::min(least, begins(p, to) - begins(p, from));
    return 0.8 * least;
}

}  // namespace fettle::watch
