// How the shop's own runs correct the forecast. The logarithm of a whole run's time is taken as normal with mean and
// variance unknown (normal-inverse-gamma); the family file's figures stand for three runs seen before. The prediction
// is Student's t, mapped onto the draws by rank: so the draws keep their shape within the run, and get the shop's
// length.
#include "fettle/forecast/own_runs.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "fettle/forecast/random.h"

namespace fettle::forecast {
namespace {

constexpr double worth_runs = 3;

constexpr double kHonest = 3;  // scales from the middle: further out no run is believed (common practice, no source)

double middle(std::vector<double> v) {
    std::sort(v.begin(), v.end());
    return (v[(v.size() - 1) / 2] + v[v.size() / 2]) / 2;
}

}  // namespace

// Huber 1981, Robust Statistics, 1.7 (winsorizing): the middle by the median, the scale by the median of distances from
// it, times 1.4826 (normal law). The family file's three runs stand beside the own ones.
std::vector<double> pulled_in(const NormalInverseGamma& prior, std::vector<double> logs) {
    if (logs.empty()) return logs;
    std::vector<double> all = logs;
    for (const double z : {-0.6745, 0.0, 0.6745}) all.push_back(prior.m + z * prior.scale());
    const double m = middle(all);
    for (double& v : all) v = std::abs(v - m);
    const double room = kHonest * std::max(prior.scale(), 1.4826 * middle(all));
    for (double& v : logs) v = std::clamp(v, m - room, m + room);
    return logs;
}

NormalInverseGamma NormalInverseGamma::after(const std::vector<double>& values) const {
    if (values.empty()) return *this;
    const double n = static_cast<double>(values.size());
    const double mean = std::accumulate(values.begin(), values.end(), 0.0) / n;
    double squares = 0;
    for (const double v : values) squares += (v - mean) * (v - mean);
    NormalInverseGamma p;
    p.k = k + n;
    p.m = (k * m + n * mean) / p.k;
    p.a = a + n / 2;
    p.b = b + squares / 2 + k * n * (mean - m) * (mean - m) / (2 * p.k);
    return p;
}

double NormalInverseGamma::scale() const {
    return std::sqrt(b * (k + 1) / (a * k));
}

NormalInverseGamma prior_from(const Quantiles& model) {
    NormalInverseGamma p;
    p.k = worth_runs;
    p.a = worth_runs / 2;
    p.m = std::log(model.p50_s);
    const double wide = std::max(1e-6, std::log(model.p90_s) - p.m) / student_quantile(0.9, p.degrees());
    p.b = wide * wide * p.a * p.k / (p.k + 1);
    return p;
}

std::vector<double> predictive(const Quantiles& model, const std::vector<PastRun>& runs,
                               const std::vector<double>& totals) {
    std::vector<double> logs;
    for (const auto& r : runs) {
        if (r.seconds > 0) logs.push_back(std::log(r.seconds));
    }
    const NormalInverseGamma p = prior_from(model).after(pulled_in(prior_from(model), std::move(logs)));
    const double scale = p.scale();
    std::vector<std::size_t> order(totals.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) { return totals[x] < totals[y]; });
    std::vector<double> out(totals.size());
    double t = 0;
    for (std::size_t i = 0; i < order.size(); ++i) {
        t = student_quantile((static_cast<double>(i) + 0.5) / static_cast<double>(order.size()), p.degrees(), t);
        out[order[i]] = std::exp(p.m + scale * t);
    }
    return out;
}

}  // namespace fettle::forecast
