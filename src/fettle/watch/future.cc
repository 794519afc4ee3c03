// Quantiles of what is to come are drawn, since the sum of log-normal acts has no closed form. The draws are seeded by
// nothing but a constant: the same odds give the same minutes, and two looks at one second never differ by chance.
//
// Lateness is a share of runs deep in a tail, where a thousand draws say nothing. So of the acts up to the awaited sign
// the widest is computed, and only the others are drawn.
#include "fettle/watch/future.h"

#include <algorithm>
#include <cmath>

#include "fettle/forecast/random.h"

namespace fettle::watch {
namespace {

// From the middle of one of 4,096 equally likely strata: fine enough for quantiles of a thousand draws, and far quicker
// than an inverse for each.
double normal(Random& random) {
    static const std::vector<float> strata = forecast::normal_strata(4096);
    return static_cast<double>(strata[random.next() >> 52]);
}

// How long act k lasts in all, given that it has lasted age_s.
double lasts(const Model& model, std::size_t k, std::size_t level, double age_s, double u) {
    const double beyond = model.lasts_beyond(k, level, age_s) * u;
    if (beyond < 1e-15) return age_s + 1;
    return std::max(age_s, model.seconds(k, level, -forecast::normal_quantile(std::min(beyond, 1 - 1e-15))));
}

// Evenly through the places' p: the i-th of n draws takes the place at (i + ½) / n.
template <typename Each>
void spread(const std::vector<Place>& places, std::size_t n, Each each) {
    double all = 0;
    for (const Place& p : places) all += p.p;
    std::size_t at = 0;
    double upto = places.empty() ? 0 : places[0].p;
    for (std::size_t i = 0; i < n; ++i) {
        const double wanted = all * (static_cast<double>(i) + 0.5) / static_cast<double>(n);
        while (at + 1 < places.size() && upto < wanted) upto += places[++at].p;
        each(places[at]);
    }
}

}  // namespace

double quantile(std::span<const double> of, double q) {
    if (of.empty()) return 0;
    std::vector<double> values(of.begin(), of.end());
    const auto k = static_cast<std::size_t>(
        std::clamp(std::ceil(q * static_cast<double>(values.size())) - 1, 0.0, static_cast<double>(values.size() - 1)));
    std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(k), values.end());
    return values[k];
}

Future::Future(const Model& model, const std::vector<Place>& places, std::size_t draws) {
    const std::size_t acts = model.chain().size();
    if (places.empty()) draws = 0;
    Random random(20261125);
    now_.reserve(draws);
    begins_.resize(draws * (acts + 1));
    spread(places, draws, [&](const Place& p) {
        const std::size_t draw = now_.size();
        const double lasts_s = lasts(model, p.k, p.level, p.age_s, random.uniform());
        now_.push_back({p.k, p.age_s, lasts_s});
        double at = 0;
        for (std::size_t k = 0; k <= acts; ++k) {
            begins_[k * draws + draw] = at;
            if (k == p.k && !model.chain()[k].end) at += std::max(0.0, lasts_s - p.age_s);
            if (k > p.k && k < acts) at += model.seconds(k, p.level, normal(random));
        }
    });
}

double Future::begins_within(std::size_t k, double seconds) const {
    const std::span<const double> at = begins(k);
    std::size_t n = 0;
    for (std::size_t i = 0; i < now_.size(); ++i) n += now_[i].k < k && at[i] <= seconds;
    return now_.empty() ? 0 : static_cast<double>(n) / static_cast<double>(now_.size());
}

// One act of the stretch is computed in closed form, the others are drawn: so the tail is smooth, and far more than the
// number of draws carries.
Waiting::Waiting(const Model& model, const std::vector<Place>& anchor, std::size_t awaited) : model_(model) {
    Random random(20261126);
    constexpr std::size_t kDraws = 400;
    if (anchor.empty()) return;
    const auto wide = [&](std::size_t k) { return model.chain()[k].own * model.chain()[k].median_s; };
    // Where the sign ends the act itself nothing is drawn, and every place counts as it is.
    bool direct = true;
    for (const Place& p : anchor) direct = direct && (p.k + 1 >= awaited);
    if (direct) {
        for (const Place& p : anchor) parts_.push_back({p.k, p.level, p.age_s, 0, p.p, 1});
    } else {
        spread(anchor, kDraws, [&](const Place& p) {
            Part part{p.k, p.level, p.age_s, 0, 1.0 / kDraws, 1};
            for (std::size_t k = p.k; k < awaited; ++k) {
                if (wide(k) > wide(part.k)) part.k = k;
            }
            for (std::size_t k = p.k; k < awaited; ++k) {
                const double u = random.uniform();
                if (k == part.k) continue;
                if (k == p.k)
                    part.before_s += lasts(model, k, p.level, p.age_s, u) - p.age_s;
                else
                    part.before_s += model.seconds(k, p.level, forecast::normal_quantile(u));
            }
            if (part.k != p.k) part.age_s = 0;
            parts_.push_back(part);
        });
    }
    double all = 0;
    for (const Part& p : parts_) all += p.weight;
    for (Part& p : parts_) {
        p.weight /= all > 0 ? all : 1;
        p.had = model_.lasts_beyond(p.k, p.level, p.age_s);
    }
    longest_s_ = quantile(0.99);
}

double Waiting::longer_than(double seconds) const {
    if (parts_.empty()) return 1;
    double sum = 0;
    for (const Part& p : parts_) {
        const double more = seconds - p.before_s;
        if (more <= 0) {
            sum += p.weight;
            continue;
        }
        sum += p.weight * (p.had > 1e-12 ? model_.lasts_beyond(p.k, p.level, p.age_s + more) / p.had : 0);
    }
    return std::clamp(sum, 0.0, 1.0);
}

double Waiting::quantile(double q) const {
    double low = 0, high = 60;
    while (longer_than(high) > 1 - q && high < 1e6) high *= 2;
    for (int i = 0; i < 60 && high - low > 1e-3; ++i) {
        const double mid = (low + high) / 2;
        (longer_than(mid) > 1 - q ? low : high) = mid;
    }
    return (low + high) / 2;
}

}  // namespace fettle::watch
