// Does the supply last, and does it stay high enough at the box? Arithmetic on typed or measured figures: Peukert's
// law, open-circuit voltage, resistance of leads by IEC 60228. Figures that are missing are missing: the answer says
// which one, and no default is put in their place except those named here.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/family/family.h"
#include "fettle/forecast/forecast.h"

namespace fettle::ready {

// Resistance of a two-core lead both ways, in ohm: class 5 plain copper of IEC 60228 Table 3 at `celsius`
// (0.00393 per kelvin). nullopt when the section is not one of the standard's.
std::optional<double> loop_ohm(double one_way_m, double section_mm2, double celsius = 20);

// Hours that a battery of rated_Ah (at rated_h hours) gives current_A, and the charge it is drawn down by, in Ah of its
// rating, for a load of current_A over hours. k = 1: no loss.
double peukert_hours(double rated_Ah, double rated_h, double current_A, double k);
double drawn_Ah(double rated_Ah, double rated_h, double current_A, double hours, double k);

// State of charge in [0, 1] from the voltage of a rested flooded 12 V battery at 26.7 °C (table of the Battery Council
// International, linear between its rows, clamped).
double charge_from_rested_V(double volts);
inline constexpr double kRestWanted_h = 6;  // makers' guides: at least; 24 is better

struct SupplyFigures {
    bool on_bench = true;
    // a mains supply: the bench supply, or the support supply in a vehicle
    std::optional<bool> support;  // in a vehicle: is one connected
    std::optional<double> set_V, limit_A;
    std::optional<double> lead_m, lead_mm2;  // one way
    // the vehicle's battery
    std::optional<double> battery_Ah, rested_V, rested_h;
    std::optional<double> health, charge, floor;  // in [0, 1]; floor absent: 0.5 (common practice), said so
    std::optional<double> peukert_k;              // absent: 1.2 (common practice for flooded batteries), said so
    double rated_h = 20;
    std::optional<double> vehicle_A;  // what the vehicle draws beside the set, ignition on
};

struct Need {
    double seconds_p50 = 0, seconds_p90 = 0;  // without the reserve
    double reserve_s = 0;
    double mean_A = 0, peak_A = 0;
    double ah_p90 = 0;  // with reserve, before Peukert
    double reserve_Ah = 0;
    std::vector<double> draws_s;  // sorted totals; may be empty: then only P90 decides
    std::string rests_on;
};
// From the forecast, the family's reserve, and what the vehicle draws beside the set.
Need need_of(const family::Family& family, const forecast::Forecast& forecast, const SupplyFigures& figures);

struct SupplyAnswer {
    Judgement judgement;
    std::string value;                  // one line with the figures, for showing
    double needs_Ah = 0, has_Ah = 0;    // vehicle without support
    std::optional<double> at_box_V;     // mains supply, at the greatest current
    std::optional<double> odds;         // that the charge lasts, in [0, 1]
    std::vector<std::string> wanted;    // keys of figures that are missing
    std::vector<std::string> remedies;  // least change of each kind that makes it fit; empty when fit
};
SupplyAnswer judge_supply(const family::Family& family, const Need& need, const SupplyFigures& figures);

}  // namespace fettle::ready
