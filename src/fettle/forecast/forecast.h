// How long a step will take and how much charge it needs, with odds. Quantiles come from seeded draws of the whole sum,
// never from sums of quantiles, and no mean is ever given. Computes on values; never asks the clock.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "fettle/change/change.h"
#include "fettle/family/family.h"

namespace fettle::forecast {

struct Quantiles {
    double p10_s = 0, p50_s = 0, p90_s = 0, p99_s = 0;
};

// One state of the script on the run's own time axis (seconds since the start of the step).
struct StateWindow {
    std::string act;
    Quantiles begins, lasts;
    double current_mean_A = 0, current_p99_A = 0;
    bool hands_on = false;  // an ask
};

struct Forecast {
    std::vector<StateWindow> states;  // in script order
    Quantiles total;
    std::string
        claim;  // what to say first: the order-statistic claim when there are own runs, else the family file's band
    std::string rests_on;                         // "family file", "measured n", "guess"
    double energy_p50_Ah = 0, energy_p90_Ah = 0;  // without the reserve
    double reserve_Ah = 0;
    double peak_A = 0;            // greatest P99 of current over the states
    std::vector<double> draws_s;  // the sorted totals, for promises and for watch
};

struct PastRun {
    double seconds = 0;
};

// Own runs of this family and step; may be empty. The same seed gives the same answer.
Forecast forecast(const family::Family& family, const change::ChangeSheet& sheet, const std::vector<PastRun>& own_runs,
                  std::uint64_t seed = 1);

// Total over several steps with `between` seconds of handling (P50, P90), by draws with one shared factor across steps.
Quantiles total_of(const std::vector<Forecast>& steps);

// "9 in 10 that the next takes 31 min or less" for n = 9 and slowest 31 min (order statistics: n of n+1).
std::string order_claim(const std::vector<PastRun>& own_runs);

// Of n good runs like this, how many are still in this state after so long: survival at elapsed_s, in [0, 1].
double survival(const family::Family& family, const change::ChangeSheet& sheet, const std::string& act,
                double elapsed_s, std::uint64_t seed = 1);

}  // namespace fettle::forecast
