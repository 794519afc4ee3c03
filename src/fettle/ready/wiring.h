// Resistance of leads and what it takes off the voltage. IEC 60228 class 5 (flexible) conductors, plain copper.
#pragma once

#include <optional>
#include <vector>

namespace fettle::ready {

// Greatest resistance of a two-core lead both ways, in ohm: IEC 60228 Table 3, class 5, plain copper, at `celsius` of
// the conductor. From 20 °C by the exact form (234.5 + t) / 254.5, that is 0.00393 per kelvin; the standard's own table
// rounds 0.004 per kelvin, at most 0.4 % from it below 100 °C. nullopt when the section is not one of the standard's.
std::optional<double> loop_ohm(double one_way_m, double section_mm2, double celsius = 20);

// The standard's sections in mm², smallest first.
const std::vector<double>& lead_sections();

// Both clamps or plugs of a lead together, when nobody measured them (common practice, no source).
inline constexpr double kContacts_ohm = 0.02;

}  // namespace fettle::ready
