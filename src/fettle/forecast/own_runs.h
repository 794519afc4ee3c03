// What own runs say about the total of a step: normal-inverse-gamma on ln(seconds), a prior worth three runs taken
// from the family file, Student-t predictive.
#pragma once

#include <vector>

#include "fettle/forecast/forecast.h"

namespace fettle::forecast {

// Murphy 2007 / Gelman et al., BDA 3.3: mean m, worth k runs; shape a, rate b of the precision.
struct NormalInverseGamma {
    double m = 0, k = 1, a = 1, b = 1;

    NormalInverseGamma after(const std::vector<double>& values) const;
    int degrees() const { return static_cast<int>(2 * a + 0.5); }
    double scale() const;  // of the next value's Student t
};

// A prior worth three runs whose predictive has the model's median and 90 % point.
NormalInverseGamma prior_from(const Quantiles& model);

// ln(seconds) of runs with those drawn in that no honest run comes near: one absurd run (a tap by mistake, a night in
// between) then says no more than one at the edge of what is believed.
std::vector<double> pulled_in(const NormalInverseGamma& prior, std::vector<double> logs);

// For each total its value at the same rank in the predictive distribution after `runs`.
std::vector<double> predictive(const Quantiles& model, const std::vector<PastRun>& runs,
                               const std::vector<double>& totals);

}  // namespace fettle::forecast
