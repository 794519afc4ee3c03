// How the shop's own runs correct the forecast. The logarithm of a whole run's time is taken as normal with mean and
// variance unknown (normal-inverse-gamma); the family file's figures stand for three runs seen before. The prediction is
// Student's t, mapped onto the draws by rank: so the draws keep their shape within the run, and get the shop's length.
#include "fettle/forecast/own_runs.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "fettle/forecast/random.h"

namespace fettle::forecast {
namespace {

constexpr double worth_runs = 3;

}  // namespace

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
    const NormalInverseGamma p = prior_from(model).after(logs);
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
