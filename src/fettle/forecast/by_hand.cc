#include "fettle/forecast/by_hand.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/forecast/random.h"

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

Quantiles total_by_draws(const std::vector<NearNormal>& steps, double correlation) {
    const std::vector<float> strata = normal_strata(draws);
    Random random(0x9e3779b97f4a7c15u);
    const std::vector<float> shared = stratified_normals(random, strata);
    const double common = std::sqrt(std::clamp(correlation, 0.0, 1.0)), own = std::sqrt(1 - common * common);
    std::vector<Forecast> forecasts;
    for (const NearNormal& s : steps) {
        const std::vector<float> z = stratified_normals(random, strata);
        Forecast f;
        for (std::size_t i = 0; i < z.size(); ++i)
            f.draws_s.push_back(s.mean_s + s.sd_s * (common * shared[i] + own * z[i]));
        forecasts.push_back(std::move(f));
    }
    return total_of(forecasts);  // draw by draw: what they share stays shared
}

Result<WorkLeft> work_left(const WorkDone& d) {
    const auto bad = [](std::string problem) {
        return usage_error("work-not-possible", "", std::move(problem), "look at the counts and the time again");
    };
    const double writing_s = d.elapsed_s - d.pieces * d.seconds_a_piece;
    if (d.pieces <= 0 || d.mib <= 0) return bad("nothing was written yet, so no rate is known");
    if (d.pieces > d.pieces_in_all || d.mib > d.mib_in_all) return bad("more was written than there is in all");
    if (writing_s <= 0)
        return bad(fmt::format("{} pieces at {:g} s each take {:g} s, and only {:g} s have passed", d.pieces,
                               d.seconds_a_piece, d.pieces * d.seconds_a_piece, d.elapsed_s));
    WorkLeft w;
    w.mib_a_second = d.mib / writing_s;
    w.total_s = d.pieces_in_all * d.seconds_a_piece + d.mib_in_all / w.mib_a_second;
    w.left_s = w.total_s - d.elapsed_s;
    w.by_pieces_s = d.elapsed_s * d.pieces_in_all / d.pieces;
    w.by_bytes_s = d.elapsed_s * d.mib_in_all / d.mib;
    return w;
}

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
