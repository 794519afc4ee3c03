// What part of a plan's steps fits into a given time, with odds.
#pragma once

#include <optional>
#include <vector>

#include "fettle/forecast/forecast.h"

namespace fettle::forecast {

// Seconds of the whole in every draw, as total_of() adds them up; empty without steps.
std::vector<double> sums_of(const std::vector<Forecast>& steps, const std::optional<family::Duration>& handling,
                            Sharing sharing = Sharing::one_factor);

// Share of draws in which all steps and `apart_s` (settling, between and after them) are over within seconds_s; nullopt
// where a step's time is not known at all.
std::optional<double> chance_within(const std::vector<Forecast>& steps, const std::optional<family::Duration>& handling,
                                    double apart_s, double seconds_s);

}  // namespace fettle::forecast
