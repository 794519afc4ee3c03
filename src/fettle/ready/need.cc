#include <algorithm>

#include "fettle/ready/supply.h"

namespace fettle::ready {
namespace {

// Each draw by itself: the charge of a slow run is not the mean current times the time, when it is slow while it
// writes.
std::vector<Load> loads_of(const forecast::Forecast& forecast, double mean_A) {
    std::vector<Load> out;
    const auto& by_state = forecast.by_state;
    if (by_state && by_state->seconds.size() == forecast.states.size() && !by_state->seconds.empty()) {
        out.resize(by_state->seconds.front().size());
        for (std::size_t s = 0; s < forecast.states.size(); ++s) {
            const double amps = forecast.states[s].current_mean_A;
            const auto& column = by_state->seconds[s];
            for (std::size_t i = 0; i < std::min(out.size(), column.size()); ++i) {
                out[i].seconds += column[i];
                out[i].ah += amps * column[i] / 3600;
            }
        }
        return out;
    }
    for (const double s : forecast.draws_s) out.push_back({s, mean_A * s / 3600});
    return out;
}

double longest_same_card_s(const cutmap::CutMap& map) {
    double longest = 0;
    for (const cutmap::Stretch& s : map.stretches) {
        if (!s.outcomes.empty() && cutmap::worst(s.outcomes) == cutmap::Outcome::same_card)
            longest = std::max(longest, s.length_p90_s);
    }
    return longest;
}

}  // namespace

Need need_of(const family::Family& family, const forecast::Forecast& forecast, const cutmap::CutMap& map) {
    Need n;
    n.seconds_p50 = forecast.total.p50_s;
    n.seconds_p90 = forecast.total.p90_s;
    n.ah_p50 = forecast.energy_p50_Ah;
    n.ah_p90 = forecast.energy_p90_Ah;
    n.peak_A = forecast.peak_A;
    n.rests_on = forecast.rests_on;
    for (const auto& s : forecast.states) {
        const family::Act* act = family.act(s.act);
        if (act && !act->current && s.lasts.p90_s > 0) n.without_current.push_back(s.act);
    }
    n.reserve_s = family.supply ? family.supply->reserve_s : 0;
    n.reserve_Ah = forecast.reserve_Ah;
    n.reserve_from = "family file";
    if (n.reserve_s <= 0) {
        double most_A = 0;
        for (const auto& s : forecast.states) most_A = std::max(most_A, s.current_mean_A);
        n.reserve_s = longest_same_card_s(map);
        n.reserve_Ah = most_A * n.reserve_s / 3600;
        n.reserve_from = n.reserve_s > 0 ? "power-cut map" : "nothing: no reserve is known";
    }
    n.draws = loads_of(forecast, n.seconds_p50 > 0 ? n.ah_p50 * 3600 / n.seconds_p50 : 0);
    return n;
}

double drawn_by(const Load& run, const Need& need, const SupplyFigures& f) {
    const double hours = (run.seconds + need.reserve_s) / 3600;
    const double ah = run.ah + need.reserve_Ah + f.vehicle_A.value_or(0) * hours;
    if (hours <= 0 || !f.battery_Ah) return ah;
    return drawn_Ah(*f.battery_Ah, f.rated_h, ah / hours, hours, f.peukert_k.value_or(1.2));
}

}  // namespace fettle::ready
