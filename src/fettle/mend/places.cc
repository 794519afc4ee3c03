// Where the run can have broken, by drawing: the acts' times as the forecast draws them, laid on from the last sign or
// count, and an instant between the last sign of life and the trouble. The moment of the power-cut map in which that
// instant falls gets the draw. So a long act gets many, and the odds widen with the time since the last sign.
#include "fettle/mend/places.h"

#include <algorithm>
#include <cmath>

#include "fettle/forecast/random.h"

namespace fettle::mend {
namespace {

constexpr int kDraws = 2000;
constexpr double z90 = 1.2815515655446004;  // 90 % point of the normal distribution

struct ActTime {
    double median_s = 0, sigma = 0;
    std::vector<std::size_t> moments;  // of the map, in order of cell
    std::vector<double> until;         // share of the act's time at which each is over
    std::vector<int> pieces;           // of each moment, counted by the box as landed
};

std::vector<ActTime> times_of(const Question& q) {
    std::vector<ActTime> out;
    for (std::size_t k = 0; k < q.family.script.size(); ++k) {
        const family::Act& act = q.family.script[k];
        ActTime t;
        if (k < q.forecast.states.size()) {
            const forecast::Quantiles& lasts = q.forecast.states[k].lasts;
            t.median_s = lasts.p50_s;
            if (lasts.p50_s > 0) t.sigma = std::log(std::max(1.0, lasts.p90_s / lasts.p50_s)) / z90;
        }
        for (std::size_t m = 0; m < q.map.moments.size(); ++m)
            if (q.map.moments[m].act == act.id) t.moments.push_back(m);
        const auto lines = forecast::lines_of(q.family, q.sheet, act);
        const family::Region* region = q.family.region(act.box, act.region);
        const bool image = region && region->written_as == "image";
        std::vector<double> least(t.moments.size(), 1.0);
        t.pieces.assign(t.moments.size(), 0);
        if (region && !image && lines.size() == t.moments.size()) {
            for (std::size_t i = 0; i < lines.size(); ++i) {
                least[i] = forecast::nominal_s(*region, lines[i]->bytes);
                t.pieces[i] = 1;
            }
        } else if (!t.moments.empty()) {
            t.pieces.back() = static_cast<int>(lines.size());
        }
        double sum = 0, so_far = 0;
        for (const double s : least) sum += s;
        for (const double s : least) {
            so_far += s;
            t.until.push_back(sum > 0 ? so_far / sum : 1.0);
        }
        out.push_back(std::move(t));
    }
    return out;
}

// Where the last tally says that the head was: act, and the shares of its time between which.
struct Reached {
    std::size_t act = 0;
    double from = 0, to = 0;
};
std::optional<Reached> by_tally(const std::vector<ActTime>& acts, int landed) {
    int before = 0;
    for (std::size_t k = 0; k < acts.size(); ++k) {
        for (std::size_t i = 0; i < acts[k].moments.size(); ++i) {
            if (acts[k].pieces[i] == 0) continue;
            before += acts[k].pieces[i];
            if (before > landed) return Reached{k, i == 0 ? 0.0 : acts[k].until[i - 1], acts[k].until[i]};
        }
    }
    return std::nullopt;  // everything had landed
}

constexpr double kQuick = 2;  // no run is so many times as quick as the usual one (common practice, no source)

std::vector<bool> possible(const Question& q, const std::vector<ActTime>& acts, std::size_t first, double passed_s) {
    std::vector<bool> out(q.map.moments.size(), false);
    double begins_s = 0;  // of the quick run, since the first act began
    for (std::size_t k = first; k < acts.size(); ++k) {
        for (std::size_t i = 0; i < acts[k].moments.size(); ++i) {
            const double from = i == 0 ? 0 : acts[k].until[i - 1];
            if (begins_s + from * acts[k].median_s / kQuick <= passed_s) out[acts[k].moments[i]] = true;
        }
        begins_s += acts[k].median_s / kQuick;
    }
    return out;
}

}  // namespace

Weighed weigh(const Question& q) {
    Weighed out;
    out.weight.assign(q.map.moments.size(), 0.0);
    out.possible.assign(q.map.moments.size(), false);
    const std::vector<ActTime> acts = times_of(q);
    if (acts.empty() || q.map.moments.empty()) return out;
    std::size_t first = 0;
    double began_s = 0;
    for (std::size_t k = 0; k < acts.size(); ++k)
        if (q.family.script[k].id == q.seen.act) {
            first = k;
            began_s = q.seen.act_at_s;
        }
    std::optional<Reached> reached;
    if (q.seen.landed && q.seen.landed_at_s >= began_s) reached = by_tally(acts, *q.seen.landed);
    if (reached && reached->act < first) reached.reset();  // the sign is later than the count
    Random random(1);
    const auto strata = forecast::normal_strata(kDraws);
    const auto shared = forecast::stratified_normals(random, strata);
    std::vector<std::vector<float>> own;
    for (std::size_t k = 0; k < acts.size(); ++k) own.push_back(forecast::stratified_normals(random, strata));
    const double from_s = q.seen.alive_s, to_s = std::max(q.seen.alive_s, q.seen.trouble_s);
    out.possible = possible(q, acts, first, to_s - began_s);
    std::vector<double> seconds(acts.size());
    for (std::size_t i = 0; i < static_cast<std::size_t>(kDraws); ++i) {
        double whole = 0;
        for (std::size_t k = 0; k < acts.size(); ++k) {
            // Half of the spread is the run's own pace, as in the forecast; the other half the act's.
            const double z = (static_cast<double>(shared[i]) + static_cast<double>(own[k][i])) * std::sqrt(0.5);
            seconds[k] = acts[k].median_s * std::exp(acts[k].sigma * z);
            whole += seconds[k];
        }
        double at = from_s + random.uniform() * (to_s - from_s), begins = began_s;
        std::size_t k = first;
        if (reached) {
            k = reached->act;
            begins =
                q.seen.landed_at_s - seconds[k] * (reached->from + random.uniform() * (reached->to - reached->from));
        }
        double in_act = std::max(0.0, at - begins);
        while (k + 1 < acts.size() && (in_act >= seconds[k] || acts[k].moments.empty())) {
            in_act = std::max(0.0, in_act - seconds[k]);
            ++k;
        }
        if (acts[k].moments.empty()) continue;
        const double share = seconds[k] > 0 ? std::min(1.0, in_act / seconds[k]) : 1.0;
        std::size_t c = 0;
        while (c + 1 < acts[k].moments.size() && share >= acts[k].until[c]) ++c;
        double left = std::max(0.0, seconds[k] - in_act);
        const double left_of_act = left;
        for (std::size_t j = k + 1; j < acts.size(); ++j) left += seconds[j];
        out.draws.push_back({acts[k].moments[c], left, whole, left_of_act});
        out.weight[acts[k].moments[c]] += 1.0;
    }
    for (double& w : out.weight) w /= std::max<double>(1, static_cast<double>(out.draws.size()));
    return out;
}

double longest_dark_s(const family::Family& family, const forecast::Forecast& forecast) {
    double longest = 0, run_of_them = 0;
    for (std::size_t k = 0; k < family.script.size() && k < forecast.states.size(); ++k) {
        const bool instantaneous = forecast.states[k].lasts.p99_s <= 0;
        if (family.script[k].dark)
            run_of_them += forecast.states[k].lasts.p99_s;
        else if (!instantaneous)
            run_of_them = 0;
        longest = std::max(longest, run_of_them);
    }
    return longest;
}

}  // namespace fettle::mend
