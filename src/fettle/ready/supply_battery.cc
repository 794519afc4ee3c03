// From the battery: charge, and voltage at the end of the run, by the odds over the forecast's draws.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/ready/supply_judge.h"

namespace fettle::ready {
namespace {

constexpr double kFloor = 0.5;     // charge to leave in a starter battery when nobody said (common practice)
constexpr double kPeukert = 1.2;   // flooded battery (common practice)
constexpr double kRoomOhm = 0.05;  // battery, wiring and contacts together may have this (common practice)

std::string percent(double share) {
    return fmt::format("{:.0f} %", share * 100);
}

Verdict by_odds(double odds) {
    return odds >= kFitOdds ? Verdict::fit : odds >= kMindOdds ? Verdict::mind : Verdict::halt;
}

}  // namespace

std::optional<Judge::Charge> Judge::charge() {
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

void Judge::wanted(const std::optional<double>& figure, const char* key, const char* code, const char* text) {
    if (figure) return;
    out_.wanted.push_back(key);
    reason(code, Verdict::cant_say, text, "not said");
}

double Judge::cold() {
    if (!f_.battery_C) {
        out_.wanted.push_back("battery.c");
        reason("battery-temperature-not-said", Verdict::cant_say,
               fmt::format("the battery's temperature is not said: it counts as {:.0f} °C, the coldest in the "
                           "table, and it may be colder",
                           kColdest_C),
               "not said");
        return *cold_factor(kColdest_C);
    }
    const auto factor = cold_factor(*f_.battery_C);
    if (!factor)
        reason("battery-too-cold", Verdict::cant_say,
               fmt::format("what a battery gives at {:.1f} °C is not in the table, which ends at {:.1f} °C: less "
                           "than there",
                           *f_.battery_C, kColdest_C),
               "IEEE 485, from memory");
    return factor.value_or(*cold_factor(kColdest_C));
}

void Judge::battery() {
    if (!f_.support) {
        out_.wanted.push_back("support");
        reason("support-not-said", Verdict::cant_say, "whether a support supply is connected is not said", "not said");
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
        "battery {:.0f} Ah, health {}, charge {}, floor {}{}; Peukert {:.2f}{}{}", *f_.battery_Ah, percent(*f_.health),
        have->words, percent(floor), f_.floor ? "" : " (common practice)", k, f_.peukert_k ? "" : " (common practice)",
        factor > 1 ? fmt::format("; {:.0f} °C{} takes it down to {:.0f} Ah", f_.battery_C.value_or(kColdest_C),
                                 f_.battery_C ? "" : " (not said)", capacity_Ah)
                   : "");
    const auto inner_ohm = resistance(*have);
    judge_battery(*have, floor, capacity_Ah, inner_ohm);
    if (!inner_ohm) voltage_by_room(*have, capacity_Ah);
}

std::optional<double> Judge::resistance(const Charge& have) const {
    if (!f_.loaded_V || !f_.loaded_A || *f_.loaded_A < 1 || lowest_V_ <= 0) return std::nullopt;
    const double rested = f_.rested_V && f_.rested_h.value_or(0) >= kRestWanted_h && !f_.charge
                              ? *f_.rested_V
                              : rested_V_at(have.share, have.kind);
    return std::max(0.0, (rested - *f_.loaded_V) / *f_.loaded_A);
}

void Judge::judge_battery(const Charge& have, double floor, double capacity_Ah, const std::optional<double>& ohm) {
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
        reason(lasts ? "battery-barely" : "battery-short", lasts ? Verdict::mind : Verdict::halt, text, need_.rests_on);
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
    const auto share = [&](std::size_t n) { return static_cast<double>(n) / static_cast<double>(need_.draws.size()); };
    out_.odds = share(both);
    const Verdict v = by_odds(share(charge_good));
    reason(v == Verdict::fit    ? "battery-enough"
           : v == Verdict::mind ? "battery-barely"
                                : "battery-short",
           v, text, need_.rests_on);
    if (ohm) say_voltage(by_odds(share(voltage_good)));
}

void Judge::say_voltage(Verdict v) {
    reason(v == Verdict::fit    ? "battery-voltage-enough"
           : v == Verdict::mind ? "battery-voltage-near"
                                : "battery-voltage-short",
           v,
           fmt::format("at the end {:.1f} V at {:.1f} A in nine runs of ten, from {:.1f} V measured under {:.1f} A; "
                       "it needs {:.1f} V",
                       *out_.at_box_V, peak_A(), *f_.loaded_V, *f_.loaded_A, lowest_V_),
           rests_on_);
}

void Judge::voltage_by_room(const Charge& have, double capacity_Ah) {
    if (lowest_V_ <= 0) {
        reason("lowest-voltage-not-known", Verdict::cant_say, "the lowest voltage that the box needs is not known",
               "family file");
        return;
    }
    const double end_V = rested_V_at(have.share - out_.needs_Ah / capacity_Ah, have.kind);
    const double ohm = (end_V - lowest_V_) / peak_A();
    out_.wanted.push_back("battery.loaded_v");
    out_.wanted.push_back("battery.loaded_a");
    reason("battery-voltage-not-computed", ohm >= kRoomOhm ? Verdict::mind : Verdict::cant_say,
           fmt::format("no voltage under load was measured; battery, wiring and contacts may have {:.3f} ohm before "
                       "the box sees less than {:.1f} V at {:.1f} A",
                       std::max(0.0, ohm), lowest_V_, peak_A()),
           "common practice");
}

}  // namespace fettle::ready
