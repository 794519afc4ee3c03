#include "fettle/ready/battery.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <utility>

namespace fettle::ready {
namespace {

using Row = std::pair<double, double>;

// Linear between rows of rising first values, clamped at both ends.
double between(std::span<const Row> rows, double x) {
    if (x <= rows.front().first) return rows.front().second;
    for (std::size_t i = 1; i < rows.size(); ++i) {
        if (x > rows[i].first) continue;
        const auto [x0, y0] = rows[i - 1];
        const auto [x1, y1] = rows[i];
        return y0 + (y1 - y0) * (x - x0) / (x1 - x0);
    }
    return rows.back().second;
}

// Rested volts → charge. Flooded: Battery Council International, at 26.7 °C. AGM: from memory; makers differ.
constexpr std::array<Row, 5> kFlooded = {{{11.89, 0}, {12.06, 0.25}, {12.24, 0.50}, {12.45, 0.75}, {12.65, 1}}};
constexpr std::array<Row, 5> kAgm = {{{11.80, 0}, {12.00, 0.25}, {12.30, 0.50}, {12.60, 0.75}, {12.85, 1}}};

std::span<const Row> rows_of(BatteryKind kind) {
    return kind == BatteryKind::agm ? std::span<const Row>(kAgm) : std::span<const Row>(kFlooded);
}

double fahrenheit(double celsius) {
    return celsius * 9 / 5 + 32;
}

// IEEE 485 Table 1: °F → factor (values from memory).
constexpr std::array<Row, 11> kCold = {{{25, 1.520},
                                        {30, 1.430},
                                        {35, 1.350},
                                        {40, 1.300},
                                        {45, 1.250},
                                        {50, 1.190},
                                        {55, 1.150},
                                        {60, 1.110},
                                        {65, 1.080},
                                        {70, 1.040},
                                        {77, 1.000}}};

}  // namespace

double peukert_hours(double rated_Ah, double rated_h, double current_A, double k) {
    return rated_h * std::pow(rated_Ah / (current_A * rated_h), k);
}

// Below the rated current the law would give more than the rating: that gift is not taken.
double drawn_Ah(double rated_Ah, double rated_h, double current_A, double hours, double k) {
    if (current_A <= 0 || hours <= 0) return 0;
    return current_A * hours * std::max(1.0, std::pow(current_A * rated_h / rated_Ah, k - 1));
}

double charge_from_rested_V(double volts, BatteryKind kind, double celsius) {
    return between(rows_of(kind), volts + 0.024 * (fahrenheit(celsius) - fahrenheit(26.7)) / 10);
}

double rested_V_at(double charge, BatteryKind kind) {
    std::array<Row, 5> turned;
    const auto rows = rows_of(kind);
    std::transform(rows.begin(), rows.end(), turned.begin(), [](const Row& r) { return Row{r.second, r.first}; });
    return between(turned, charge);
}

std::optional<double> cold_factor(double celsius) {
    const double f = fahrenheit(celsius);
    if (f < kCold.front().first - 0.1) return std::nullopt;
    return between(kCold, f);
}

}  // namespace fettle::ready
