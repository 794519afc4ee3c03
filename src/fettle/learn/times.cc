#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "fettle/forecast/random.h"
#include "fettle/learn/learn.h"

namespace fettle::learn {
namespace {

constexpr double kSpread = 0.35;  // of ln(time) from one run to the next: a guess, worth so many runs
constexpr double kWorth = 3;
constexpr std::size_t kMany = 9;  // nine in ten of the next ones are no longer than the longest of nine

}  // namespace

std::string odds_of_longest(std::size_t n) {
    return fmt::format("n = {}: {} in {} that the next is no longer", n, n, n + 1);
}

Times times_of(std::vector<double> seen) {
    std::sort(seen.begin(), seen.end());
    const std::size_t n = seen.size();
    Times out;
    out.median_s = n % 2 == 1 ? seen[n / 2] : (seen[n / 2 - 1] + seen[n / 2]) / 2;
    if (n >= kMany) {
        const auto rank = static_cast<std::size_t>(std::ceil(0.9 * static_cast<double>(n + 1) - 1e-9));
        out.p90_s = seen[std::min(rank, n) - 1];
        return out;
    }
    // The next value of a normal law of ln(time) whose spread is known from `kWorth` guessed runs and these: Student's
    // t (Gelman et al., BDA 3.3, with a flat prior for the mean).
    double mean = 0, squares = 0;
    for (const double s : seen) mean += std::log(std::max(s, 0.1)) / static_cast<double>(n);
    for (const double s : seen) squares += std::pow(std::log(std::max(s, 0.1)) - mean, 2);
    const double freedom = kWorth + static_cast<double>(n) - 1;
    const double scale = std::sqrt((kWorth * kSpread * kSpread + squares) / freedom * (1 + 1 / static_cast<double>(n)));
    const double t = forecast::student_quantile(0.9, static_cast<int>(freedom));
    out.p90_s = std::max({out.median_s, seen.back(), std::exp(mean + t * scale)});
    return out;
}

std::optional<family::Current> current_in(const Seen& seen, double from_s, double to_s) {
    std::vector<double> amps;
    for (const SupplySample& s : seen.observed.supply) {
        const double at = static_cast<double>(s.t - seen.observed.started) / 1000;
        if (s.has_amps() && at >= from_s + 1 && at <= to_s - 1) amps.push_back(s.amps);
    }
    if (amps.size() < 5) return std::nullopt;
    std::sort(amps.begin(), amps.end());
    family::Current out;
    out.mean_A = std::accumulate(amps.begin(), amps.end(), 0.0) / static_cast<double>(amps.size());
    const auto rank = static_cast<std::size_t>(std::ceil(0.99 * static_cast<double>(amps.size())));
    out.p99_A = std::max(out.mean_A, amps[std::clamp<std::size_t>(rank, 1, amps.size()) - 1]);
    out.source = "measured 1";
    return out;
}

}  // namespace fettle::learn
