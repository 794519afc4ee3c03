// How likely each outcome is, for a rate of power cuts. Kept apart from the map: the map says what can be, this how
// often.
#pragma once

#include <map>
#include <string>

#include "fettle/cutmap/cutmap.h"

namespace fettle::cutmap {

inline constexpr double usual_cuts_per_hour = 0.02;  // one in fifty hours of runs: a guess, until the shop has its own

struct Odds {
    double cuts_per_hour = usual_cuts_per_hour;
    double no_cut = 1;  // the run comes through without one
    // The chance of a first cut at a moment whose worst outcome is this one; with no_cut they sum to 1. Where a moment
    // has several outcomes, the worst counts: never better than the truth.
    std::map<Outcome, double> worst;
    // At most: no way back to which a further cut, within the map's bound, leads that the first alone did not.
    double further_no_way_back = 0;
    double no_way_back() const;  // of the first cut alone
};

// The first cut is Poisson along the forecast (of every draw, averaged); a further one anywhere in the continued run,
// which is taken to last as long as the whole. Throws std::invalid_argument for a rate that is negative or no number.
Odds odds(const CutMap& map, const forecast::Forecast& forecast, double cuts_per_hour = usual_cuts_per_hour);

}  // namespace fettle::cutmap
