// Clopper-Pearson bounds of a share: the p at which what was seen would be just so unlikely, found by bisection on the
// exact binomial. Few runs give wide bounds; that is the point.
#include "fettle/forecast/share_bounds.h"

#include <algorithm>
#include <cmath>

namespace fettle::forecast {
namespace {

// P(X <= k) for X binomial(n, p), by its terms in logarithms: exact for any n that a shop's record can have.
double binomial_cdf(std::int64_t k, std::int64_t n, double p) {
    if (k >= n) return 1;
    if (k < 0) return 0;
    if (p <= 0) return 1;
    if (p >= 1) return 0;
    const double nn = static_cast<double>(n);
    double sum = 0;
    for (std::int64_t i = 0; i <= k; ++i) {
        const double x = static_cast<double>(i);
        sum += std::exp(std::lgamma(nn + 1) - std::lgamma(x + 1) - std::lgamma(nn - x + 1) + x * std::log(p) +
                        (nn - x) * std::log1p(-p));
    }
    return std::min(1.0, sum);
}

}  // namespace

double upper_share(std::int64_t seen, std::int64_t n, double confidence) {
    if (n <= 0 || seen >= n) return 1;
    // Solve P(X <= seen | p) = 1 − confidence; the left side falls with p.
    double low = 0, high = 1;
    for (int i = 0; i < 100; ++i) {
        const double p = (low + high) / 2;
        (binomial_cdf(seen, n, p) > 1 - confidence ? low : high) = p;
    }
    return high;
}

double lower_share(std::int64_t seen, std::int64_t n, double confidence) {
    if (n <= 0 || seen <= 0) return 0;
    double low = 0, high = 1;  // P(X >= seen | p) = 1 − confidence; the left side rises with p
    for (int i = 0; i < 100; ++i) {
        const double p = (low + high) / 2;
        (1 - binomial_cdf(seen - 1, n, p) < 1 - confidence ? low : high) = p;
    }
    return low;
}

}  // namespace fettle::forecast
