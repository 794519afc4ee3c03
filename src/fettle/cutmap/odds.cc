// The chance of each outcome if power fails at a constant rate: over the drawn runs, the chance that the first cut falls
// into a moment of the map, times the worst that the map has for that moment. It bounds from above: a map that gives
// several outcomes is counted with its worst.
#include "fettle/cutmap/odds.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <vector>

namespace fettle::cutmap {

double Odds::no_way_back() const {
    double sum = 0;
    for (const auto& [outcome, p] : worst) {
        if (cutmap::no_way_back(outcome)) sum += p;
    }
    return sum;
}

Odds odds(const CutMap& map, const forecast::Forecast& f, double cuts_per_hour) {
    if (!(cuts_per_hour >= 0) || !std::isfinite(cuts_per_hour))
        throw std::invalid_argument("odds: a rate of cuts is 0 or more");
    Odds out;
    out.cuts_per_hour = cuts_per_hour;
    if (!f.by_state || f.by_state->seconds.empty()) return out;
    const auto& seconds = f.by_state->seconds;
    const std::size_t draws = seconds.front().size();
    const double rate = cuts_per_hour / 3600;
    std::vector<double> begins(draws, 0.0);
    std::vector<std::vector<const Moment*>> of_act(seconds.size());
    for (const Moment& m : map.moments) {
        if (m.act_number < of_act.size()) of_act[m.act_number].push_back(&m);
    }
    double further = 0;
    for (std::size_t a = 0; a < seconds.size(); ++a) {
        for (const Moment* m : of_act[a]) {
            double here = 0;
            double again = 0;
            for (std::size_t i = 0; i < draws; ++i) {
                const double lasts = seconds[a][i];
                const double from = begins[i] + m->from * lasts;
                const double p = std::exp(-rate * from) * -std::expm1(-rate * m->part * lasts);
                here += p;
                again += p * -std::expm1(-rate * f.total.p90_s);
            }
            const Outcome o = cutmap::worst(m->outcomes);
            out.worst[o] += here / static_cast<double>(draws);
            if (map.cuts > 1 && !cutmap::no_way_back(o) && cutmap::no_way_back(cutmap::worst(m->two_cuts)))
                further += again / static_cast<double>(draws);
        }
        for (std::size_t i = 0; i < draws; ++i) begins[i] += seconds[a][i];
    }
    double no_cut = 0;
    for (const double total : begins) no_cut += std::exp(-rate * total);
    out.no_cut = no_cut / static_cast<double>(draws);
    out.further_no_way_back = further;
    return out;
}

}  // namespace fettle::cutmap
