// Distributions and their quantiles, as the textbooks have them; a quantile is found by Newton steps on the distribution
// itself, so that it agrees with its own distribution to the last digits, also far out in the tail.
#include "fettle/forecast/random.h"

#include <algorithm>
#include <cmath>

namespace fettle::forecast {
namespace {

constexpr double pi = 3.14159265358979323846;

double normal_density(double z) {
    return std::exp(-0.5 * z * z) / std::sqrt(2 * pi);
}

double student_density(double t, int degrees) {
    const double v = degrees;
    const double log_c = std::lgamma((v + 1) / 2) - std::lgamma(v / 2) - 0.5 * std::log(v * pi);
    return std::exp(log_c - (v + 1) / 2 * std::log1p(t * t / v));
}

}  // namespace

double normal_cdf(double z) {
    return 0.5 * std::erfc(-z / std::sqrt(2.0));
}

double normal_quantile(double p) {
    // A start that is right to 4.5e-4 (Abramowitz and Stegun 26.2.23), then Newton steps on the distribution itself.
    const double tail = std::min(p, 1 - p);
    const double t = std::sqrt(-2 * std::log(tail));
    double z = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
    for (int i = 0; i < 3; ++i) {  // z > 0: upper tail; Halley's correction keeps it stable far out
        const double e = (0.5 * std::erfc(z / std::sqrt(2.0)) - tail) / normal_density(z);
        z += e / (1 + 0.5 * z * e);
    }
    return p < 0.5 ? -z : z;
}

double student_cdf(double t, int degrees) {
    const double theta = std::atan(t / std::sqrt(static_cast<double>(degrees)));
    const double c = std::cos(theta);
    const double s = std::sin(theta);
    double a = 0;  // probability of |T| <= t, signed
    if (degrees % 2 == 1) {
        double term = c;
        double sum = degrees > 1 ? term : 0;
        for (int k = 3; k <= degrees - 2; k += 2) {
            term *= c * c * (k - 1) / k;
            sum += term;
        }
        a = 2 / pi * (theta + s * sum);
    } else {
        double term = 1;
        double sum = 1;
        for (int k = 2; k <= degrees - 2; k += 2) {
            term *= c * c * (k - 1) / k;
            sum += term;
        }
        a = s * sum;
    }
    return 0.5 * (1 + a);
}

double student_quantile(double p, int degrees, double start) {
    double low = -1;
    double high = 1;
    while (student_cdf(low, degrees) > p) low *= 2;
    while (student_cdf(high, degrees) < p) high *= 2;
    double t = start > low && start < high ? start : 0.5 * (low + high);
    for (int i = 0; i < 200; ++i) {
        const double f = student_cdf(t, degrees) - p;
        (f < 0 ? low : high) = t;
        double next = t - f / student_density(t, degrees);
        if (!(next > low && next < high)) next = 0.5 * (low + high);
        if (std::abs(next - t) <= 1e-12 * (1 + std::abs(t))) return next;
        t = next;
    }
    return t;
}

std::vector<float> normal_strata(int n) {
    std::vector<float> z(static_cast<std::size_t>(n));
    for (int i = 0; i < n; ++i) z[static_cast<std::size_t>(i)] = static_cast<float>(normal_quantile((i + 0.5) / n));
    return z;
}

std::vector<float> stratified_normals(Random& random, const std::vector<float>& strata) {
    std::vector<float> z = strata;
    for (std::size_t i = z.size(); i > 1; --i) std::swap(z[i - 1], z[random.below(i)]);
    return z;
}

}  // namespace fettle::forecast
