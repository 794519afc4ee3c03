// The forecast of one step and of several, by seeded draws.
//
// Why draws and not formulas: the sum of log-normals has no closed form, the states share a factor, and own runs bend
// the total; 10,000 draws in strata take milliseconds and give every quantile of every prefix at once.
#include "fettle/forecast/forecast.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <map>
#include <numeric>

#include "fettle/base/clock.h"
#include "fettle/forecast/own_runs.h"
#include "fettle/forecast/random.h"
#include "fettle/forecast/within.h"

namespace fettle::forecast {
namespace {

constexpr double shared_part = 0.5;  // part of the variance that the whole run shares; see docs/plan.md
constexpr int enough_runs = 19;      // n of n+1 reaches 19 in 20

// σ_S: half the variance of the writes (weighted by their time), or of all states when nothing is written.
double shared_sigma(const std::vector<StateTime>& times, const family::Family& family) {
    for (const bool writes_only : {true, false}) {
        double weight = 0;
        double sum = 0;
        for (std::size_t i = 0; i < times.size(); ++i) {
            if (writes_only && family.script[i].kind != family::ActKind::write) continue;
            weight += times[i].median_s;
            sum += times[i].median_s * times[i].sigma * times[i].sigma;
        }
        if (weight > 0 && sum > 0) return std::sqrt(shared_part * sum / weight);
    }
    return 0;
}

// Draws whose total hardly depends on the seed. The linear part of the total, L = Σ m (a z_S + b z_own), is exactly
// normal with a known variance; each draw is scaled so that L's values are that normal's strata. What is left to chance
// is only how the total differs from its linear part.
void even_out(Draws& d, std::vector<double>& linear, double variance, double median_s,
              const std::vector<float>& strata) {
    if (variance <= 0 || median_s <= 0) return;
    std::vector<std::size_t> order(linear.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) { return linear[x] < linear[y]; });
    std::vector<float> factor(linear.size());
    for (std::size_t rank = 0; rank < order.size(); ++rank) {
        const std::size_t i = order[rank];
        factor[i] = static_cast<float>(std::exp((std::sqrt(variance) * strata[rank] - linear[i]) / median_s));
    }
    for (auto& column : d.seconds) {
        for (std::size_t i = 0; i < column.size(); ++i) column[i] *= factor[i];
    }
}

// Every state keeps exactly its own spread: what the shared factor does not explain is its own noise.
Draws draw(const std::vector<StateTime>& times, double sigma_s, std::uint64_t seed, const std::string& step) {
    const std::vector<float> strata = normal_strata(draws);
    Random shared(seed);  // depends on the seed alone, so that steps with the same seed share it
    const std::vector<float> z_shared = stratified_normals(shared, strata);
    std::uint64_t mix = seed ^ 0x5851f42d4c957f2du;
    for (const char c : step) mix = mix * 1099511628211u ^ static_cast<unsigned char>(c);
    Random own(mix);
    Draws d;
    std::vector<double> linear(static_cast<std::size_t>(draws), 0.0);
    double common = 0;  // standard deviation that all states share, in seconds
    double apart = 0;   // variance of their own, in square seconds
    double median_s = 0;
    for (const auto& t : times) {
        std::vector<float> seconds(static_cast<std::size_t>(draws), static_cast<float>(t.median_s));
        median_s += t.median_s;
        if (t.median_s > 0 && t.sigma > 0) {
            const auto z_own = stratified_normals(own, strata);
            const double a = std::min(sigma_s, t.sigma);
            const double b = std::sqrt(t.sigma * t.sigma - a * a);
            common += t.median_s * a;
            apart += t.median_s * t.median_s * b * b;
            for (std::size_t i = 0; i < seconds.size(); ++i) {
                const double log = a * z_shared[i] + b * z_own[i];
                linear[i] += t.median_s * log;
                seconds[i] = static_cast<float>(t.median_s * std::exp(log));
            }
        }
        d.seconds.push_back(std::move(seconds));
    }
    even_out(d, linear, common * common + apart, median_s, strata);
    return d;
}

std::vector<double> totals(const Draws& d) {
    std::vector<double> sum(static_cast<std::size_t>(draws), 0.0);
    for (const auto& column : d.seconds) {
        for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += column[i];
    }
    return sum;
}

// Moves every draw so that the total has the own runs' predictive distribution; the shape within the run stays.
void follow_own_runs(Draws& d, const std::vector<PastRun>& runs) {
    const std::vector<double> total = totals(d);
    const Quantiles model = quantiles_of(total);
    if (model.p50_s <= 0) return;
    const std::vector<double> wanted = predictive(model, runs, total);
    for (auto& column : d.seconds) {
        for (std::size_t i = 0; i < column.size(); ++i) {
            if (total[i] > 0) column[i] = static_cast<float>(column[i] * wanted[i] / total[i]);
        }
    }
}

void fill_states(Forecast& f, const family::Family& family, const std::vector<StateTime>& times) {
    std::vector<double> begun(static_cast<std::size_t>(draws), 0.0);
    std::vector<double> energy(begun);
    std::vector<double> work;
    double greatest_mean_A = 0;
    for (std::size_t s = 0; s < family.script.size(); ++s) {
        const family::Act& act = family.script[s];
        StateWindow w;
        w.act = act.id;
        w.hands_on = act.kind == family::ActKind::ask || !act.wake.empty();
        w.rests_on = times[s].rests_on;
        w.begins = quantiles_of(begun);
        const auto& column = f.by_state->seconds[s];
        work.assign(column.begin(), column.end());
        w.lasts = quantiles_of(work);
        if (act.current) {
            w.current_mean_A = act.current->mean_A;
            w.current_p99_A = act.current->p99_A;
        }
        greatest_mean_A = std::max(greatest_mean_A, w.current_mean_A);
        f.peak_A = std::max(f.peak_A, w.current_p99_A);
        for (std::size_t i = 0; i < begun.size(); ++i) {
            begun[i] += column[i];
            energy[i] += w.current_mean_A * column[i] / 3600;
        }
        f.states.push_back(std::move(w));
    }
    const Quantiles ah = quantiles_of(energy);
    f.energy_p50_Ah = ah.p50_s;
    f.energy_p90_Ah = ah.p90_s;
    if (family.supply) f.reserve_Ah = family.supply->reserve_s * greatest_mean_A / 3600;
    std::sort(begun.begin(), begun.end());
    f.draws_s = begun;
    f.total = quantiles_of(begun);
}

void judge(Forecast& f, const family::Family& family, const std::vector<StateTime>& times) {
    std::string without;
    std::string guessed;
    for (std::size_t i = 0; i < times.size(); ++i) {
        const std::string& id = family.script[i].id;
        if (!times[i].known) without += (without.empty() ? "" : ", ") + id;
        if (times[i].rests_on.is_guess()) guessed += (guessed.empty() ? "" : ", ") + id;
    }
    if (family.script.empty()) {
        f.judgement.add({"script-unknown", Verdict::cant_say, "the family file has no step script: no forecast",
                         "forecast", "family file"});
    }
    if (!without.empty()) {
        f.judgement.add({"duration-unknown", Verdict::cant_say,
                         fmt::format("the family file gives no time for {}: the run takes longer than shown", without),
                         "forecast", "family file"});
    }
    if (!guessed.empty()) {
        f.judgement.add({"duration-guessed", Verdict::mind, fmt::format("the times of {} are guesses", guessed),
                         "forecast", "guess"});
    }
    f.rests_on = f.own_runs > 0 ? fmt::format("measured {}", f.own_runs) : guessed.empty() ? "family file" : "guess";
}

std::string band(const Forecast& f) {
    return fmt::format("half of the runs take {} or less, nine in ten {} or less", human_duration(f.total.p50_s),
                       human_duration(f.total.p90_s));
}

}  // namespace

namespace {

// Order statistics of many values: counted into equal buckets first, so that only the few buckets that hold a wanted
// rank are looked into. The same values as by sorting.
class Ranks {
public:
    Ranks(const std::vector<double>& v, const std::vector<std::size_t>& wanted) {
        const auto [low, high] = std::minmax_element(v.begin(), v.end());
        const double from = *low, scale = *high > from ? (kBuckets - 1) / (*high - from) : 0;
        std::vector<std::uint16_t> bucket(v.size());
        for (std::size_t i = 0; i < v.size(); ++i) {
            bucket[i] = static_cast<std::uint16_t>((v[i] - from) * scale);
            ++upto_[bucket[i] + 1U];
        }
        for (std::size_t b = 1; b <= kBuckets; ++b) upto_[b] += upto_[b - 1];
        std::array<bool, kBuckets> looked_into{};
        for (const std::size_t rank : wanted) looked_into[of(rank)] = true;
        for (std::size_t i = 0; i < v.size(); ++i) {
            if (looked_into[bucket[i]]) held_[bucket[i]].push_back(v[i]);
        }
        for (auto& [b, values] : held_) std::sort(values.begin(), values.end());
    }
    double at(std::size_t rank) const {
        const std::size_t b = of(rank);
        return held_.at(b)[rank - upto_[b]];
    }

private:
    static constexpr std::size_t kBuckets = 1024;
    std::size_t of(std::size_t rank) const {
        return static_cast<std::size_t>(std::upper_bound(upto_.begin(), upto_.end(), rank) - upto_.begin()) - 1;
    }

    std::array<std::size_t, kBuckets + 1> upto_{};  // values in the buckets before
    std::map<std::size_t, std::vector<double>> held_;
};

}  // namespace

Quantiles quantiles_of(const std::vector<double>& v) {
    if (v.empty()) return {};
    const auto place = [&](double p) { return p * static_cast<double>(v.size() - 1); };
    std::vector<std::size_t> wanted;
    for (const double p : {0.10, 0.50, 0.90, 0.99}) {
        wanted.push_back(static_cast<std::size_t>(place(p)));
        wanted.push_back(std::min(wanted.back() + 1, v.size() - 1));
    }
    const Ranks ranks(v, wanted);
    const auto at = [&](double p) {
        const auto k = static_cast<std::size_t>(place(p));
        const double here = ranks.at(k), above = ranks.at(std::min(k + 1, v.size() - 1));
        return here + (place(p) - static_cast<double>(k)) * (above - here);
    };
    return {at(0.10), at(0.50), at(0.90), at(0.99)};
}

Forecast forecast(const family::Family& family, const change::ChangeSheet& sheet, const std::vector<PastRun>& own_runs,
                  std::uint64_t seed) {
    std::vector<StateTime> times;
    for (const auto& act : family.script) times.push_back(state_time(family, sheet, act));
    auto by_state = std::make_shared<Draws>(draw(times, shared_sigma(times, family), seed, sheet.to));
    if (!own_runs.empty()) follow_own_runs(*by_state, own_runs);
    Forecast f;
    f.by_state = std::move(by_state);
    f.own_runs = static_cast<int>(own_runs.size());
    fill_states(f, family, times);
    judge(f, family, times);
    if (own_runs.empty()) {
        f.claim =
            fmt::format("can't say from own record (no own run of this step); the family file's band: {}", band(f));
    } else if (f.own_runs < enough_runs) {
        f.claim = order_claim(own_runs);
    } else {
        f.claim = fmt::format("{} (model over {} own runs)", band(f), f.own_runs);
    }
    return f;
}

std::vector<double> sums_of(const std::vector<Forecast>& steps, const std::optional<family::Duration>& handling,
                            Sharing sharing) {
    if (steps.empty()) return {};
    std::vector<double> sum(static_cast<std::size_t>(draws), 0.0);
    Random random(0x2545f4914f6cdd1du);
    const std::vector<float> strata = normal_strata(draws);
    for (std::size_t s = 0; s < steps.size(); ++s) {
        std::vector<double> step = steps[s].by_state ? totals(*steps[s].by_state) : steps[s].draws_s;
        step.resize(sum.size(), 0.0);
        if (sharing == Sharing::independent) {
            for (std::size_t i = step.size(); i > 1; --i) std::swap(step[i - 1], step[random.below(i)]);
        }
        for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += step[i];
        if (s == 0 || !handling || handling->median_s <= 0) continue;
        const double sigma = std::log(std::max(1.0, handling->p90_s / handling->median_s)) / normal_quantile(0.9);
        const auto z = stratified_normals(random, strata);
        for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += handling->median_s * std::exp(sigma * z[i]);
    }
    return sum;
}

Quantiles total_of(const std::vector<Forecast>& steps, const std::optional<family::Duration>& handling,
                   Sharing sharing) {
    return quantiles_of(sums_of(steps, handling, sharing));
}

std::optional<double> chance_within(const std::vector<Forecast>& steps, const std::optional<family::Duration>& handling,
                                    double apart_s, double seconds_s) {
    const auto known = [](const Forecast& f) {
        return !f.states.empty() && std::none_of(f.judgement.reasons.begin(), f.judgement.reasons.end(),
                                                 [](const Reason& r) { return r.code == "duration-unknown"; });
    };
    if (steps.empty() || !std::all_of(steps.begin(), steps.end(), known)) return std::nullopt;
    const std::vector<double> sums = sums_of(steps, handling);
    const auto in_time = std::count_if(sums.begin(), sums.end(), [&](double s) { return s + apart_s <= seconds_s; });
    return static_cast<double>(in_time) / static_cast<double>(sums.size());
}

std::string order_claim(const std::vector<PastRun>& own_runs) {
    const auto n = own_runs.size();
    if (n == 0) return "can't say from own record: no own run of this step";
    double slowest = 0;
    for (const auto& r : own_runs) slowest = std::max(slowest, r.seconds);
    const std::string more = n < static_cast<std::size_t>(enough_runs)
                                 ? fmt::format("; {} runs are needed for 19 in 20", enough_runs)
                                 : std::string();
    return fmt::format("{} in {} that the next takes {} or less (slowest of {} own {}{})", n, n + 1,
                       human_duration(slowest), n, n == 1 ? "run" : "runs", more);
}

}  // namespace fettle::forecast
