// A 12 V lead-acid battery as figures: what is in it, what it gives, what its voltage tells. Every law names its
// source; docs/ready.md works each through by hand.
#pragma once

#include <optional>
#include <string_view>

namespace fettle::ready {

// Hours that a battery of rated_Ah (at rated_h hours) gives current_A, and the charge it is drawn down by, in Ah of its
// rating, for a load of current_A over hours. k = 1: no loss. Peukert's law in its form for a rating at H hours.
double peukert_hours(double rated_Ah, double rated_h, double current_A, double k);
double drawn_Ah(double rated_Ah, double rated_h, double current_A, double hours, double k);

enum class BatteryKind { flooded, agm };

// State of charge in [0, 1] from the voltage of a rested battery, brought to 26.7 °C with 0.024 V per 10 °F (table of
// the Battery Council International for flooded ones; for AGM from memory, makers differ). Linear between rows,
// clamped.
double charge_from_rested_V(double volts, BatteryKind kind = BatteryKind::flooded, double celsius = 26.7);
// The other way: the rested voltage at 26.7 °C at that charge.
double rested_V_at(double charge, BatteryKind kind = BatteryKind::flooded);
inline constexpr double kRestWanted_h = 6;  // makers' guides: at least; 24 is better

// What to divide the rated capacity by in the cold (IEEE 485 Table 1, values from memory), linear between its rows.
// Warmth gives nothing away: 1 from 25 °C up. nullopt below -3.9 °C, where the table ends.
std::optional<double> cold_factor(double celsius);
inline constexpr double kColdest_C = (25.0 - 32) * 5 / 9;  // its last row, 25 °F

}  // namespace fettle::ready
