// From the mains: current limit, and the voltage at the box.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/ready/supply_judge.h"

namespace fettle::ready {
namespace {

constexpr double kTooHigh_V = 16.0;  // ISO 16750-2, upper supply limit of 12 V equipment (from memory)
constexpr double kNear_V = 0.3;      // closer to the lowest voltage than this is "mind" (common practice)
constexpr double kSag_V = 0.2;       // measured this far below the setting, a supply is at its limit (common practice)

}  // namespace

double Judge::peak_A() const {
    return need_.peak_A + (f_.on_bench ? 0 : f_.vehicle_A.value_or(0));
}

void Judge::mains() {
    if (!f_.set_V) {
        out_.wanted.push_back("supply.volts");
        reason("supply-volts-not-said", Verdict::cant_say, "the voltage that the supply is set to is not said",
               "not said");
    }
    if (!f_.limit_A) {
        out_.wanted.push_back("supply.limit");
        reason("supply-limit-not-said", Verdict::cant_say, "the current limit of the supply is not said", "not said");
    }
    if (f_.output_on && !*f_.output_on)
        reason("supply-output-off", Verdict::halt, "the supply's output is off: the box is not fed", how());
    if (f_.limit_A) current_limit();
    if (f_.set_V) voltage();
    if (f_.set_V && f_.limit_A) {
        out_.value = fmt::format("{:.1f} V, limit {:.1f} A ({})", *f_.set_V, *f_.limit_A, how());
        if (out_.at_box_V) out_.value += fmt::format("; {:.1f} V at the box", *out_.at_box_V);
    }
}

void Judge::current_limit() {
    const bool vehicle_open = !f_.on_bench && !f_.vehicle_A;
    if (*f_.limit_A + 1e-9 < peak_A()) {
        reason("supply-limit-too-low", Verdict::halt,
               fmt::format("the current limit of {:.1f} A is below the {:.1f} A that the run may draw{}", *f_.limit_A,
                           peak_A(), vehicle_open ? ", without the vehicle" : ""),
               need_.rests_on);
    } else if (vehicle_open) {
        out_.wanted.push_back("vehicle.amps");
        reason("vehicle-current-not-said", Verdict::cant_say,
               fmt::format("what the vehicle itself draws is not said; the support supply has {:.1f} A for it",
                           *f_.limit_A - need_.peak_A),
               "not said");
    } else {
        reason("supply-limit-enough", Verdict::fit,
               fmt::format("the current limit of {:.1f} A covers the {:.1f} A that the run may draw", *f_.limit_A,
                           peak_A()),
               need_.rests_on);
    }
}

double Judge::terminals_V() const {
    return f_.measured_V ? std::min(*f_.set_V, *f_.measured_V) : *f_.set_V;
}

void Judge::voltage() {
    if (*f_.set_V > kTooHigh_V || f_.measured_V.value_or(0) > kTooHigh_V) {
        reason("voltage-too-high", Verdict::halt,
               fmt::format("{:.1f} V is above {:.0f} V, which 12 V equipment need not bear",
                           std::max(*f_.set_V, f_.measured_V.value_or(0)), kTooHigh_V),
               "common practice");
        return;
    }
    if (*f_.set_V > kHigh_V) {
        reason("voltage-high", Verdict::mind, fmt::format("{:.1f} V is above the usual charging range", *f_.set_V),
               "common practice");
    }
    if (f_.output_on.value_or(true) && *f_.set_V - terminals_V() > kSag_V) {
        reason("supply-below-setting", Verdict::mind,
               fmt::format("{:.1f} V were measured at its terminals, {:.1f} V below what it is set to: it may be "
                           "at its current limit",
                           terminals_V(), *f_.set_V - terminals_V()),
               how());
    }
    if (lowest_V_ <= 0) {
        reason("lowest-voltage-not-known", Verdict::cant_say, "the lowest voltage that the box needs is not known",
               "family file");
        return;
    }
    if (measured_at_box()) return;
    const auto ohm =
        f_.lead_m && f_.lead_mm2 ? loop_ohm(*f_.lead_m, *f_.lead_mm2, f_.lead_C.value_or(20)) : std::nullopt;
    if (f_.lead_m && f_.lead_mm2 && !ohm) {
        reason(
            "lead-section-unknown", Verdict::cant_say,
            fmt::format("{:g} mm² is no section of IEC 60228, so the drop on the lead is not computed", *f_.lead_mm2),
            "typed");
        return;
    }
    if (!ohm) {
        lead_not_said(terminals_V() - lowest_V_);
        return;
    }
    out_.at_box_V = terminals_V() - peak_A() * (*ohm + f_.contacts_ohm.value_or(kContacts_ohm));
    at_box(*out_.at_box_V,
           f_.contacts_ohm ? "" : fmt::format(", {:g} ohm of contacts counted by common practice", kContacts_ohm));
}

bool Judge::measured_at_box() {
    if (!f_.box_V || !f_.box_A || *f_.box_A < 0.2 * peak_A() || *f_.box_A <= 0) return false;
    const double ohm = std::max(0.0, (terminals_V() - *f_.box_V) / *f_.box_A);
    out_.at_box_V = terminals_V() - peak_A() * ohm;
    at_box(*out_.at_box_V, fmt::format(", from {:.2f} V measured there at {:.1f} A", *f_.box_V, *f_.box_A));
    return true;
}

void Judge::lead_not_said(double spare_V) {
    out_.wanted.push_back("supply.lead_m");
    out_.wanted.push_back("supply.lead_mm2");
    if (spare_V < 0) {
        reason("voltage-too-low", Verdict::halt,
               fmt::format("{:.1f} V is already below the {:.1f} V that the box needs", terminals_V(), lowest_V_),
               rests_on_);
        return;
    }
    reason("lead-not-said", spare_V >= 1.0 ? Verdict::mind : Verdict::cant_say,
           fmt::format("lead length and section are not said; leads and contacts may take {:.1f} V, that is {:.2f} "
                       "ohm both ways, before the box sees less than {:.1f} V",
                       spare_V, spare_V / peak_A(), lowest_V_),
           "typed");
}

void Judge::at_box(double volts, const std::string& basis) {
    const std::string text =
        fmt::format("{:.1f} V at the box at {:.1f} A; it needs {:.1f} V{}", volts, peak_A(), lowest_V_, basis);
    if (volts < lowest_V_) {
        reason("voltage-too-low", Verdict::halt, text, rests_on_);
    } else if (volts < lowest_V_ + kNear_V) {
        reason("voltage-near-lowest", Verdict::mind, text, rests_on_);
    } else {
        reason("voltage-enough", Verdict::fit, text, rests_on_);
    }
}

}  // namespace fettle::ready
