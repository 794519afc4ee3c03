// One pass over the figures: the mains side (current limit, voltage at the box) or the battery side (charge and voltage
// at the end of the run, by the odds over the forecast's draws). docs/ready.md has the formulas with their sources.
#include "fettle/ready/supply.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"

namespace fettle::ready {
namespace {

constexpr double kTooHigh_V = 16.0;  // ISO 16750-2, upper supply limit of 12 V equipment (from memory)
constexpr double kNear_V = 0.3;      // closer to the lowest voltage than this is "mind" (common practice)
constexpr double kFloor = 0.5;       // charge to leave in a starter battery when nobody said (common practice)
constexpr double kPeukert = 1.2;     // flooded battery (common practice)
constexpr double kSag_V = 0.2;       // measured this far below the setting, a supply is at its limit (common practice)
constexpr double kRoomOhm = 0.05;    // battery, wiring and contacts together may have this (common practice)

std::string percent(double share) {
    return fmt::format("{:.0f} %", share * 100);
}

Verdict by_odds(double odds) {
    return odds >= kFitOdds ? Verdict::fit : odds >= kMindOdds ? Verdict::mind : Verdict::halt;
}

class Judge {
public:
    // if_kind: the battery's, where it is not said.
    Judge(const family::Family& family, const Need& need, const SupplyFigures& figures, BatteryKind if_kind)
        : need_(need), f_(figures), if_kind_(if_kind), lowest_V_(family.supply ? family.supply->lowest_V : 0) {
        rests_on_ = family.supply ? family.supply->source : "nothing";
        if (rests_on_.empty()) rests_on_ = "family file";
    }

    SupplyAnswer run() {
        if (need_.peak_A <= 0) {
            reason("current-not-known", Verdict::cant_say,
                   "the family file gives no currents, so what the supply must give is not known", "family file");
            return std::move(out_);
        }
        if (!need_.without_current.empty())
            reason("current-partly-not-known", Verdict::cant_say,
                   fmt::format("the family file gives no current for {}: what they take is not in the figures",
                               join(need_.without_current, ", ")),
                   "family file");
        if (f_.on_bench || f_.support.value_or(false)) {
            mains();
        } else {
            battery();
        }
        return std::move(out_);
    }

private:
    void reason(std::string code, Verdict v, std::string text, std::string rests) {
        out_.judgement.add({std::move(code), v, std::move(text), "supply", std::move(rests)});
    }
    std::string how() const { return f_.read ? "read from the supply" : "typed"; }

    // --- mains ---

    double peak_A() const { return need_.peak_A + (f_.on_bench ? 0 : f_.vehicle_A.value_or(0)); }

    void mains() {
        if (!f_.set_V) {
            out_.wanted.push_back("supply.volts");
            reason("supply-volts-not-said", Verdict::cant_say, "the voltage that the supply is set to is not said",
                   "not said");
        }
        if (!f_.limit_A) {
            out_.wanted.push_back("supply.limit");
            reason("supply-limit-not-said", Verdict::cant_say, "the current limit of the supply is not said",
                   "not said");
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

    void current_limit() {
        const bool vehicle_open = !f_.on_bench && !f_.vehicle_A;
        if (*f_.limit_A + 1e-9 < peak_A()) {
            reason("supply-limit-too-low", Verdict::halt,
                   fmt::format("the current limit of {:.1f} A is below the {:.1f} A that the run may draw{}",
                               *f_.limit_A, peak_A(), vehicle_open ? ", without the vehicle" : ""),
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

    // What stands at the terminals: the setting, or less when less was measured there.
    double terminals_V() const { return f_.measured_V ? std::min(*f_.set_V, *f_.measured_V) : *f_.set_V; }

    void voltage() {
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
            reason("lead-section-unknown", Verdict::cant_say,
                   fmt::format("{:g} mm² is no section of IEC 60228, so the drop on the lead is not computed",
                               *f_.lead_mm2),
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

    // Volts at the box at a known current say what leads and contacts have together. At next to no current they say
    // nothing: a tenth of a volt of the meter would become ohms.
    bool measured_at_box() {
        if (!f_.box_V || !f_.box_A || *f_.box_A < 0.2 * peak_A() || *f_.box_A <= 0) return false;
        const double ohm = std::max(0.0, (terminals_V() - *f_.box_V) / *f_.box_A);
        out_.at_box_V = terminals_V() - peak_A() * ohm;
        at_box(*out_.at_box_V, fmt::format(", from {:.2f} V measured there at {:.1f} A", *f_.box_V, *f_.box_A));
        return true;
    }

    void lead_not_said(double spare_V) {
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

    void at_box(double volts, const std::string& basis) {
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

    // --- battery ---

    // The charge that counts, and the kind whose voltages belong to it.
    struct Charge {
        double share = 0;
        BatteryKind kind = BatteryKind::flooded;
        std::string words;
    };

    std::optional<Charge> charge() {
        Charge c;
        c.kind = f_.kind.value_or(if_kind_);
        if (f_.charge) {
            c.share = *f_.charge;
            c.words = percent(c.share);
            return c;
        }
        if (!f_.rested_V) {
            out_.wanted.push_back("battery.charge");
            reason("battery-charge-not-said", Verdict::cant_say, "the battery's charge is not said", "not said");
            return std::nullopt;
        }
        if (f_.other_kind) {
            out_.wanted.push_back("battery.charge");
            reason("battery-kind-not-known", Verdict::cant_say,
                   "a rested voltage tells the charge of flooded and AGM batteries only", "common practice");
            return std::nullopt;
        }
        if (f_.rested_h.value_or(0) < kRestWanted_h) {
            if (!f_.rested_h) out_.wanted.push_back("battery.rested_h");
            reason("battery-not-rested", Verdict::cant_say,
                   fmt::format("a voltage tells the charge only after {:.0f} hours at rest", kRestWanted_h),
                   "common practice");
            return std::nullopt;
        }
        const auto by = [&](BatteryKind k) {
            return charge_from_rested_V(*f_.rested_V, k, f_.battery_C.value_or(kColdest_C));
        };
        c.share = by(c.kind);
        if (f_.kind) {
            c.words = fmt::format("{} from {:.2f} V at rest", percent(c.share), *f_.rested_V);
            return c;
        }
        const double flooded = by(BatteryKind::flooded), agm = by(BatteryKind::agm);
        c.words = fmt::format("{} to {} from {:.2f} V at rest (kind not said; the worse counts)",
                              percent(std::min(flooded, agm)), percent(std::max(flooded, agm)), *f_.rested_V);
        return c;
    }

    void wanted(const std::optional<double>& figure, const char* key, const char* code, const char* text) {
        if (figure) return;
        out_.wanted.push_back(key);
        reason(code, Verdict::cant_say, text, "not said");
    }

    // What the rated capacity is divided by. Where the temperature is not said, or colder than the table goes, its last
    // row counts: it may be as cold as that, and less is never left for not knowing.
    double cold() {
        if (!f_.battery_C) {
            reason("battery-temperature-not-said", Verdict::mind,
                   fmt::format("the battery's temperature is not said: it counts as {:.0f} °C, the coldest in the "
                               "table; said, there may be more in it",
                               kColdest_C),
                   "common practice");
            return *cold_factor(kColdest_C);
        }
        const auto factor = cold_factor(*f_.battery_C);
        if (!factor)
            reason("battery-too-cold", Verdict::cant_say,
                   fmt::format("what a battery gives at {:.0f} °C is not in the table, which ends at {:.0f} °C: less "
                               "than there",
                               *f_.battery_C, kColdest_C),
                   "IEEE 485, from memory");
        return factor.value_or(*cold_factor(kColdest_C));
    }

    void battery() {
        if (!f_.support) {
            out_.wanted.push_back("support");
            reason("support-not-said", Verdict::cant_say, "whether a support supply is connected is not said",
                   "not said");
        }
        wanted(f_.battery_Ah, "battery.ah", "battery-capacity-not-said", "the battery's capacity is not said");
        wanted(f_.health, "battery.health", "battery-health-not-said", "the battery's health is not said");
        wanted(f_.vehicle_A, "vehicle.amps", "vehicle-current-not-said",
               "what the vehicle itself draws with the ignition on is not said");
        const auto have = charge();
        const double factor = cold();
        if (!f_.battery_Ah || !f_.health || !f_.vehicle_A || !have) return;
        const double floor = f_.floor.value_or(kFloor);
        const double k = f_.peukert_k.value_or(kPeukert);
        const double capacity_Ah = *f_.battery_Ah * *f_.health / factor;
        out_.has_Ah = std::max(0.0, capacity_Ah * (have->share - floor));
        const Load nine_in_ten{need_.seconds_p90, need_.ah_p90};
        out_.needs_Ah = drawn_by(nine_in_ten, need_, f_);
        out_.value = fmt::format(
            "battery {:.0f} Ah, health {}, charge {}, floor {}{}; Peukert {:.2f}{}{}", *f_.battery_Ah,
            percent(*f_.health), have->words, percent(floor), f_.floor ? "" : " (common practice)", k,
            f_.peukert_k ? "" : " (common practice)",
            factor > 1 ? fmt::format("; {:.0f} °C{} takes it down to {:.0f} Ah", f_.battery_C.value_or(kColdest_C),
                                     f_.battery_C ? "" : " (not said)", capacity_Ah)
                       : "");
        const auto inner_ohm = resistance(*have);
        judge_battery(*have, floor, capacity_Ah, inner_ohm);
        if (!inner_ohm) voltage_by_room(*have, capacity_Ah);
    }

    // Of battery, wiring and contacts together, from a voltage under a known load against the rested one.
    std::optional<double> resistance(const Charge& have) const {
        if (!f_.loaded_V || !f_.loaded_A || *f_.loaded_A < 1 || lowest_V_ <= 0) return std::nullopt;
        const double rested = f_.rested_V && f_.rested_h.value_or(0) >= kRestWanted_h && !f_.charge
                                  ? *f_.rested_V
                                  : rested_V_at(have.share, have.kind);
        return std::max(0.0, (rested - *f_.loaded_V) / *f_.loaded_A);
    }

    void judge_battery(const Charge& have, double floor, double capacity_Ah, const std::optional<double>& ohm) {
        const auto end_V = [&](double ah) {
            return rested_V_at(have.share - ah / capacity_Ah, have.kind) - *ohm * peak_A();
        };
        const auto charge_lasts = [&](double ah) { return ah <= capacity_Ah * (have.share - floor) + 1e-9; };
        const auto voltage_lasts = [&](double ah) { return !ohm || end_V(ah) >= lowest_V_; };
        if (ohm) out_.at_box_V = end_V(out_.needs_Ah);
        const std::string text = fmt::format(
            "needs {:.1f} Ah (nine runs in ten need less; {} of it to take a broken run up again, from the {}), has "
            "{:.1f} Ah above the floor",
            out_.needs_Ah, human_duration(need_.reserve_s), need_.reserve_from, out_.has_Ah);
        if (need_.draws.empty()) {
            const bool lasts = charge_lasts(out_.needs_Ah);
            reason(lasts ? "battery-barely" : "battery-short", lasts ? Verdict::mind : Verdict::halt, text,
                   need_.rests_on);
            if (ohm) say_voltage(voltage_lasts(out_.needs_Ah) ? Verdict::mind : Verdict::halt);
            return;
        }
        std::size_t charge_good = 0, voltage_good = 0, both = 0;
        for (const Load& run : need_.draws) {
            const double ah = drawn_by(run, need_, f_);
            const bool c = charge_lasts(ah), v = voltage_lasts(ah);
            charge_good += c;
            voltage_good += v;
            both += c && v;
        }
        const auto share = [&](std::size_t n) {
            return static_cast<double>(n) / static_cast<double>(need_.draws.size());
        };
        out_.odds = share(both);
        const Verdict v = by_odds(share(charge_good));
        reason(v == Verdict::fit    ? "battery-enough"
               : v == Verdict::mind ? "battery-barely"
                                    : "battery-short",
               v, text, need_.rests_on);
        if (ohm) say_voltage(by_odds(share(voltage_good)));
    }

    void say_voltage(Verdict v) {
        reason(
            v == Verdict::fit    ? "battery-voltage-enough"
            : v == Verdict::mind ? "battery-voltage-near"
                                 : "battery-voltage-short",
            v,
            fmt::format("at the end {:.1f} V at {:.1f} A in nine runs of ten, from {:.1f} V measured under {:.1f} A; "
                        "it needs {:.1f} V",
                        *out_.at_box_V, peak_A(), *f_.loaded_V, *f_.loaded_A, lowest_V_),
            rests_on_);
    }

    // Nothing was measured under load: how much battery, wiring and contacts may have before it is too little.
    void voltage_by_room(const Charge& have, double capacity_Ah) {
        if (lowest_V_ <= 0) {
            reason("lowest-voltage-not-known", Verdict::cant_say, "the lowest voltage that the box needs is not known",
                   "family file");
            return;
        }
        const double end_V = rested_V_at(have.share - out_.needs_Ah / capacity_Ah, have.kind);
        const double ohm = (end_V - lowest_V_) / peak_A();
        out_.wanted.push_back("battery.loaded_v");
        out_.wanted.push_back("battery.loaded_a");
        reason(
            "battery-voltage-not-computed", ohm >= kRoomOhm ? Verdict::mind : Verdict::cant_say,
            fmt::format("no voltage under load was measured; battery, wiring and contacts may have {:.3f} ohm before "
                        "the box sees less than {:.1f} V at {:.1f} A",
                        std::max(0.0, ohm), lowest_V_, peak_A()),
            "common practice");
    }

    const Need& need_;
    const SupplyFigures& f_;
    BatteryKind if_kind_;
    double lowest_V_;
    std::string rests_on_;
    SupplyAnswer out_;
};

}  // namespace

SupplyAnswer judge_figures(const family::Family& family, const Need& need, const SupplyFigures& figures) {
    SupplyAnswer answer = Judge(family, need, figures, BatteryKind::flooded).run();
    if (figures.kind) return answer;
    SupplyAnswer other = Judge(family, need, figures, BatteryKind::agm).run();
    return other.judgement.verdict() > answer.judgement.verdict() ? other : answer;
}

SupplyAnswer judge_supply(const family::Family& family, const Need& need, const SupplyFigures& figures) {
    SupplyAnswer answer = judge_figures(family, need, figures);
    answer.remedies = search_remedies(family, need, figures, answer);
    return answer;
}

}  // namespace fettle::ready
