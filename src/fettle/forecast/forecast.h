// How long a step will take and how much charge it needs, with odds. Quantiles come from seeded draws of the whole sum,
// never from sums of quantiles, and no mean is ever given. Computes on values; never asks the clock.
//
// The model (docs/plan.md has it with formulas): a state lasts its median times exp(σ z); z = λ z_S + √(1−λ²) z_own,
// with one z_S for the whole run (the medium, the box and its temperature are slow or quick as a whole) and one z_own
// per state. With own runs of the same step, the total is moved to their Student-t predictive.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/family/family.h"

namespace fettle::forecast {

inline constexpr int draws = 10000;

struct Quantiles {
    double p10_s = 0, p50_s = 0, p90_s = 0, p99_s = 0;
};
// Of values in any order, none of them NaN; linear between order statistics. All 0 for no values.
Quantiles quantiles_of(const std::vector<double>& values);

// One state of the script on the run's own time axis (seconds since the start of the step).
struct StateWindow {
    std::string act;
    Quantiles begins, lasts;
    double current_mean_A = 0, current_p99_A = 0;
    bool hands_on = false;  // an ask, or a state that ends only when something is fed by hand
    Basis rests_on;         // where its time comes from: "measured 12", "guess", …; empty for instantaneous states
};

// Seconds of every state in every draw: seconds[state][draw], states in script order, draws in the order drawn.
struct Draws {
    std::vector<std::vector<float>> seconds;
};

struct Forecast {
    std::vector<StateWindow> states;  // in script order
    Quantiles total;
    std::string claim;  // what to say first: own runs' order statistics while n < 19, else the model; with no own run
                        // "can't say from own record" and the family file's band
    Basis rests_on;     // "measured n" (own runs), "family file", or "guess" when a figure of the file is one
    int own_runs = 0;
    double energy_p50_Ah = 0, energy_p90_Ah = 0;  // without the reserve
    double reserve_Ah = 0;                  // the family's recovery reserve at the greatest mean current of the script
    double peak_A = 0;                      // greatest P99 of current over the states
    std::vector<double> draws_s;            // the sorted totals, for promises and for watch
    std::shared_ptr<const Draws> by_state;  // never null for a forecast that forecast() made
    Judgement judgement;                    // what is missing or only guessed
};

struct PastRun {
    double seconds = 0;
};

// Own runs of this family and step; may be empty. The same seed gives the same answer, on every compiler.
Forecast forecast(const family::Family& family, const change::ChangeSheet& sheet, const std::vector<PastRun>& own_runs,
                  std::uint64_t seed = 1);

// Total over several steps, by draws. Steps forecast with the same seed share one factor: a slow medium is slow in
// every step. `independent` pairs their draws at random instead. `handling` lies between two steps (card out, card
// laid, card in). Never a sum of quantiles.
enum class Sharing { one_factor, independent };
Quantiles total_of(const std::vector<Forecast>& steps, const std::optional<family::Duration>& handling = std::nullopt,
                   Sharing sharing = Sharing::one_factor);

// "9 in 10 that the next takes 31 min or less" for n = 9 and slowest 31 min (order statistics: n of n+1).
std::string order_claim(const std::vector<PastRun>& own_runs);

// Of good runs like this, what part is still in this state after so long: survival at elapsed_s, in [0, 1]. The state's
// own distribution, in closed form; 0 for an act that is not in the script or takes no time.
double survival(const family::Family& family, const change::ChangeSheet& sheet, std::string_view act, double elapsed_s);

// A state's own distribution: ln(seconds) is normal about ln(median_s) with sigma. Zero median: instantaneous.
struct StateTime {
    double median_s = 0, sigma = 0;
    Basis rests_on;
    bool known = true;  // false: the family file gives no time for it
};
StateTime state_time(const family::Family& family, const change::ChangeSheet& sheet, const family::Act& act);

// The lines that a write act writes, in index order: what is to be added or replaced in its box and region. For a
// region written as an image: one cell, whatever the number of lines.
std::vector<const change::Line*> lines_of(const family::Family& family, const change::ChangeSheet& sheet,
                                          const family::Act& act);
// Nominal seconds (no noise) of one such line: overhead + bytes / rate.
double nominal_s(const family::Region& region, std::uint64_t bytes);

}  // namespace fettle::forecast
