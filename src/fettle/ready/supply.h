// Does the supply last, and does it stay high enough at the box? Arithmetic on typed or measured figures: Peukert's
// law, open-circuit voltage, resistance of leads (ready/battery.h, ready/wiring.h). Figures that are missing are
// missing: the answer says which one, and no default is put in their place except those named here, each said with
// "common practice".
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/family/family.h"
#include "fettle/forecast/forecast.h"
#include "fettle/ready/battery.h"
#include "fettle/ready/wiring.h"

namespace fettle::ready {

struct SupplyFigures {
    bool on_bench = true;
    // a mains supply: the bench supply, or the support supply in a vehicle
    std::optional<bool> support;  // in a vehicle: is one connected
    std::optional<double> set_V, limit_A;
    std::optional<double> lead_m, lead_mm2;  // one way
    std::optional<double> lead_C;            // of the conductor; absent: 20
    std::optional<double> contacts_ohm;      // both together; absent: kContacts_ohm, said so
    std::optional<double> measured_V;        // at the supply's terminals, under load; below what it is set to it counts
    std::optional<double> box_V, box_A;      // measured at the box at that current: then no resistance is computed
    std::optional<bool> output_on;           // as the supply says
    bool read = false;                       // set_V and limit_A were read from the supply, not typed
    // the vehicle's battery
    std::optional<double> battery_Ah, rested_V, rested_h;
    std::optional<double> health, charge, floor;  // in [0, 1]; floor absent: 0.5 (common practice), said so
    std::optional<double> peukert_k;              // absent: 1.2 (common practice for flooded batteries), said so
    std::optional<BatteryKind> kind;              // absent: the worse verdict of the two kinds counts
    bool other_kind = false;                      // neither: a voltage tells nothing
    std::optional<double> battery_C;              // absent: kColdest_C, said so
    std::optional<double> loaded_V, loaded_A;     // measured at the box while the vehicle draws that
    double rated_h = 20;
    std::optional<double> vehicle_A;  // what the vehicle draws beside the set, ignition on
};

// What one whole run takes, as one draw of the forecast has it. Without reserve and without the vehicle.
struct Load {
    double seconds = 0, ah = 0;
};

// What the set needs. vehicle_A is not in it: it belongs to the figures, and a remedy may change it.
struct Need {
    double seconds_p50 = 0, seconds_p90 = 0;
    double reserve_s = 0;   // a broken run is taken up again once
    double reserve_Ah = 0;  // at the greatest mean current of the script
    std::string reserve_from;
    double ah_p50 = 0, ah_p90 = 0;             // without the reserve
    double peak_A = 0;                         // greatest P99 of current; 0: not known
    std::vector<std::string> without_current;  // states that take time and whose current is not known
    std::vector<Load> draws;                   // may be empty: then only the 90 % point decides
    std::string rests_on;
};
// From the forecast, draw by draw (current of each state times its time), and the family's reserve; where the file
// gives none, the longest stretch that the same card takes up again (map, 90 % point).
Need need_of(const family::Family& family, const forecast::Forecast& forecast, const cutmap::CutMap& map);

// Ah drawn from a battery by such a run with its reserve, vehicle included, after Peukert.
double drawn_by(const Load& run, const Need& need, const SupplyFigures& figures);

struct SupplyAnswer {
    Judgement judgement;
    std::string value;                  // one line with the figures, for showing
    double needs_Ah = 0, has_Ah = 0;    // vehicle without support: at the 90 % point, after Peukert; above the floor
    std::optional<double> at_box_V;     // mains supply, at the greatest current; battery: at the end, nine in ten above
    std::optional<double> odds;         // that charge and voltage last, in [0, 1]
    std::vector<std::string> wanted;    // keys of figures that are missing
    std::vector<std::string> remedies;  // least change of each kind that makes it fit; empty when fit
};
SupplyAnswer judge_supply(const family::Family& family, const Need& need, const SupplyFigures& figures);

// Inside the room: the judgement alone, and the search that asks it again and again (ready/remedy.cc).
SupplyAnswer judge_figures(const family::Family& family, const Need& need, const SupplyFigures& figures);
std::vector<std::string> search_remedies(const family::Family& family, const Need& need, const SupplyFigures& figures,
                                         const SupplyAnswer& found);

inline constexpr double kHigh_V = 14.8;  // top of the usual charging range (common practice, no source)
inline constexpr double kFitOdds = 0.99, kMindOdds = 0.95;

}  // namespace fettle::ready
