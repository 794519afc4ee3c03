#include "fettle/ready/supply.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <utility>

#include "fettle/base/clock.h"

namespace fettle::ready {
namespace {

// IEC 60228 Table 3, class 5, plain copper: section in mm², greatest resistance in ohm per km at 20 °C. Only sections a
// bench or a support supply has.
constexpr std::array<std::pair<double, double>, 16> kClass5 = {{{0.5, 39.0},
                                                                {0.75, 26.0},
                                                                {1, 19.5},
                                                                {1.5, 13.3},
                                                                {2.5, 7.98},
                                                                {4, 4.95},
                                                                {6, 3.3},
                                                                {10, 1.91},
                                                                {16, 1.21},
                                                                {25, 0.78},
                                                                {35, 0.554},
                                                                {50, 0.386},
                                                                {70, 0.272},
                                                                {95, 0.206},
                                                                {120, 0.161},
                                                                {150, 0.129}}};

constexpr double kTooHigh_V = 16.0;  // ISO 16750-2, upper supply limit of 12 V equipment (from memory)
constexpr double kHigh_V = 14.8;     // top of the usual charging range (common practice, no source)
constexpr double kNear_V = 0.3;      // closer to the lowest voltage than this is "mind" (common practice)
constexpr double kFloor = 0.5;       // charge to leave in a starter battery when nobody said (common practice)
constexpr double kPeukert = 1.2;     // flooded battery (common practice)
constexpr double kFitOdds = 0.99, kMindOdds = 0.95;

std::string percent(double share) {
    return fmt::format("{:.0f} %", share * 100);
}

class Judge {
public:
    Judge(const family::Family& family, const Need& need, const SupplyFigures& figures)
        : need_(need), f_(figures), lowest_V_(family.supply ? family.supply->lowest_V : 0) {
        rests_on_ = family.supply ? family.supply->source : "nothing";
        if (rests_on_.empty()) rests_on_ = "family file";
    }

    SupplyAnswer run() {
        if (need_.peak_A <= 0) {
            reason("current-not-known", Verdict::cant_say,
                   "the family file gives no currents, so what the supply must give is not known", "family file");
            return out_;
        }
        if (f_.on_bench || f_.support.value_or(false)) {
            mains();
        } else {
            battery();
        }
        return out_;
    }

private:
    void reason(std::string code, Verdict v, std::string text, std::string rests) {
        out_.judgement.add({std::move(code), v, std::move(text), "supply", std::move(rests)});
    }

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
        if (f_.limit_A) current_limit();
        if (f_.set_V) voltage();
        if (f_.set_V && f_.limit_A) {
            out_.value = fmt::format("{:.1f} V, limit {:.1f} A (typed)", *f_.set_V, *f_.limit_A);
            if (out_.at_box_V) out_.value += fmt::format("; {:.1f} V at the box", *out_.at_box_V);
        }
    }

    void current_limit() {
        if (*f_.limit_A + 1e-9 < need_.peak_A) {
            reason("supply-limit-too-low", Verdict::halt,
                   fmt::format("the current limit of {:.1f} A is below the {:.1f} A that the run may draw", *f_.limit_A,
                               need_.peak_A),
                   need_.rests_on);
        } else {
            reason("supply-limit-enough", Verdict::fit,
                   fmt::format("the current limit of {:.1f} A covers the {:.1f} A that the run may draw", *f_.limit_A,
                               need_.peak_A),
                   need_.rests_on);
        }
    }

    void voltage() {
        if (*f_.set_V > kTooHigh_V) {
            reason("voltage-too-high", Verdict::halt,
                   fmt::format("{:.1f} V is above {:.0f} V, which 12 V equipment need not bear", *f_.set_V, kTooHigh_V),
                   "common practice");
            return;
        }
        if (*f_.set_V > kHigh_V) {
            reason("voltage-high", Verdict::mind, fmt::format("{:.1f} V is above the usual charging range", *f_.set_V),
                   "common practice");
        }
        if (lowest_V_ <= 0) {
            reason("lowest-voltage-not-known", Verdict::cant_say, "the lowest voltage that the box needs is not known",
                   "family file");
            return;
        }
        const double spare_V = *f_.set_V - lowest_V_;
        const auto ohm = f_.lead_m && f_.lead_mm2 ? loop_ohm(*f_.lead_m, *f_.lead_mm2) : std::nullopt;
        if (f_.lead_m && f_.lead_mm2 && !ohm) {
            reason("lead-section-unknown", Verdict::cant_say,
                   fmt::format("{:g} mm² is no section of IEC 60228, so the drop on the lead is not reckoned",
                               *f_.lead_mm2),
                   "typed");
            return;
        }
        if (!ohm) {
            lead_not_said(spare_V);
            return;
        }
        out_.at_box_V = *f_.set_V - need_.peak_A * *ohm;
        at_box(*out_.at_box_V);
    }

    void lead_not_said(double spare_V) {
        out_.wanted.push_back("supply.lead_m");
        out_.wanted.push_back("supply.lead_mm2");
        if (spare_V < 0) {
            reason("voltage-too-low", Verdict::halt,
                   fmt::format("{:.1f} V is already below the {:.1f} V that the box needs", *f_.set_V, lowest_V_),
                   rests_on_);
            return;
        }
        reason("lead-not-said", spare_V >= 1.0 ? Verdict::mind : Verdict::cant_say,
               fmt::format("lead length and section are not said; leads and contacts may take {:.1f} V, that is {:.2f} "
                           "ohm both ways, before the box sees less than {:.1f} V",
                           spare_V, spare_V / need_.peak_A, lowest_V_),
               "typed");
    }

    void at_box(double volts) {
        const std::string text =
            fmt::format("{:.1f} V at the box at {:.1f} A; it needs {:.1f} V", volts, need_.peak_A, lowest_V_);
        if (volts < lowest_V_) {
            reason("voltage-too-low", Verdict::halt, text, rests_on_);
        } else if (volts < lowest_V_ + kNear_V) {
            reason("voltage-near-lowest", Verdict::mind, text, rests_on_);
        } else {
            reason("voltage-enough", Verdict::fit, text, rests_on_);
        }
    }

    std::optional<double> charge() {
        if (f_.charge) return f_.charge;
        if (!f_.rested_V) {
            out_.wanted.push_back("battery.charge");
            reason("battery-charge-not-said", Verdict::cant_say, "the battery's charge is not said", "not said");
            return std::nullopt;
        }
        if (f_.rested_h.value_or(0) < kRestWanted_h) {
            if (!f_.rested_h) out_.wanted.push_back("battery.rested_h");
            reason("battery-not-rested", Verdict::cant_say,
                   fmt::format("a voltage tells the charge only after {:.0f} hours at rest", kRestWanted_h),
                   "common practice");
            return std::nullopt;
        }
        return charge_from_rested_V(*f_.rested_V);
    }

    void wanted(const std::optional<double>& figure, const char* key, const char* code, const char* text) {
        if (figure) return;
        out_.wanted.push_back(key);
        reason(code, Verdict::cant_say, text, "not said");
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
        const auto have_charge = charge();
        if (!f_.battery_Ah || !f_.health || !f_.vehicle_A || !have_charge) return;
        const double floor = f_.floor.value_or(kFloor);
        const double k = f_.peukert_k.value_or(kPeukert);
        out_.has_Ah = std::max(0.0, *f_.battery_Ah * *f_.health * (*have_charge - floor));
        // Ah before Peukert over the mean current gives the hours that the law is applied to.
        const auto drawn = [&](double ah) {
            return drawn_Ah(*f_.battery_Ah, f_.rated_h, need_.mean_A, need_.mean_A > 0 ? ah / need_.mean_A : 0, k);
        };
        out_.needs_Ah = drawn(need_.ah_p90);
        out_.value = fmt::format("battery {:.0f} Ah, health {}, charge {}, floor {}{}; Peukert {:.2f}{}",
                                 *f_.battery_Ah, percent(*f_.health), percent(*have_charge), percent(floor),
                                 f_.floor ? "" : " (common practice)", k, f_.peukert_k ? "" : " (common practice)");
        battery_verdict(drawn);
        reason("battery-voltage-not-reckoned", Verdict::mind,
               "the voltage under load is not reckoned from the charge; measure it at the box", "common practice");
    }

    template <class Drawn>
    void battery_verdict(const Drawn& drawn) {
        const std::string text = fmt::format(
            "needs {:.1f} Ah (nine runs in ten need less), has {:.1f} Ah above the floor", out_.needs_Ah, out_.has_Ah);
        Verdict v = Verdict::halt;
        if (need_.draws_s.empty()) {
            if (out_.has_Ah >= out_.needs_Ah) v = Verdict::mind;
        } else {
            const auto lasts = std::count_if(need_.draws_s.begin(), need_.draws_s.end(), [&](double s) {
                return drawn(need_.mean_A * s / 3600 + need_.reserve_Ah) <= out_.has_Ah + 1e-9;
            });
            out_.odds = static_cast<double>(lasts) / static_cast<double>(need_.draws_s.size());
            v = *out_.odds >= kFitOdds ? Verdict::fit : *out_.odds >= kMindOdds ? Verdict::mind : Verdict::halt;
        }
        reason(v == Verdict::fit    ? "battery-enough"
               : v == Verdict::mind ? "battery-barely"
                                    : "battery-short",
               v, text, need_.rests_on);
    }

    const Need& need_;
    const SupplyFigures& f_;
    double lowest_V_;
    std::string rests_on_;
    SupplyAnswer out_;
};

// The worst verdict among the reasons that a remedy is about.
bool cured(const SupplyAnswer& a, std::span<const std::string_view> codes) {
    return std::none_of(a.judgement.reasons.begin(), a.judgement.reasons.end(), [&](const Reason& r) {
        return r.verdict != Verdict::fit && std::find(codes.begin(), codes.end(), r.code) != codes.end();
    });
}

bool has(const SupplyAnswer& a, std::span<const std::string_view> codes) {
    return !cured(a, codes);
}

// Each kind of change by itself, in small steps from where it stands, until the complaint is gone.
class Remedies {
public:
    Remedies(const family::Family& family, const Need& need, const SupplyFigures& figures, const SupplyAnswer& found)
        : family_(family), need_(need), f_(figures), found_(found) {}

    std::vector<std::string> run() {
        if (has(found_, kLimit))
            say(fmt::format("raise the current limit to {:.1f} A or more", std::ceil(need_.peak_A * 10) / 10));
        if (has(found_, kVolts)) volts();
        if (has(found_, kBattery)) battery();
        return std::move(out_);
    }

private:
    static constexpr std::array<std::string_view, 1> kLimit = {"supply-limit-too-low"};
    static constexpr std::array<std::string_view, 2> kVolts = {"voltage-too-low", "voltage-near-lowest"};
    static constexpr std::array<std::string_view, 2> kBattery = {"battery-short", "battery-barely"};

    void say(std::string text) { out_.push_back(std::move(text)); }
    SupplyAnswer judge(const SupplyFigures& f) const { return Judge(family_, need_, f).run(); }

    void volts() {
        SupplyFigures f = f_;
        for (double v = std::ceil(*f_.set_V * 10) / 10; v <= kHigh_V + 1e-9; v += 0.1) {
            f.set_V = v;
            if (!cured(judge(f), kVolts)) continue;
            say(fmt::format("set the supply to {:.1f} V or more", v));
            break;
        }
        if (!f_.lead_m || !f_.lead_mm2) return;
        f = f_;
        for (const auto& [section, ohm] : kClass5) {
            if (section <= *f_.lead_mm2) continue;
            f.lead_mm2 = section;
            if (!cured(judge(f), kVolts)) continue;
            say(fmt::format("or use leads of {:g} mm² or more", section));
            break;
        }
        f = f_;
        for (double m = std::floor(*f_.lead_m * 10) / 10; m >= 0.1; m -= 0.1) {
            f.lead_m = m;
            if (!cured(judge(f), kVolts)) continue;
            say(fmt::format("or leads no longer than {:.1f} m each way", m));
            break;
        }
    }

    void battery() {
        const double volts = family_.supply && family_.supply->support_V ? *family_.supply->support_V : 0;
        say(fmt::format("fit a support supply that gives {:.0f} A or more{}", std::ceil(need_.peak_A),
                        volts > 0 ? fmt::format(", set to {:.1f} V", volts) : ""));
        SupplyFigures f = f_;
        f.rested_V.reset();
        for (int c = 1; c <= 100; ++c) {
            f.charge = c / 100.0;
            if (!cured(judge(f), kBattery)) continue;
            say(fmt::format("or charge the battery to {} % or more", c));
            break;
        }
        if (!f_.vehicle_A || *f_.vehicle_A <= 0) return;
        for (double a = std::floor(*f_.vehicle_A * 2) / 2; a >= 0; a -= 0.5) {
            f = f_;
            f.vehicle_A = a;
            Need less = need_;
            const double saved_A = *f_.vehicle_A - a;
            const double hours = (need_.seconds_p90 + need_.reserve_s) / 3600;
            less.mean_A = std::max(0.0, need_.mean_A - saved_A);
            less.ah_p90 = std::max(0.0, need_.ah_p90 - saved_A * hours);
            less.reserve_Ah = std::max(0.0, need_.reserve_Ah - saved_A * need_.reserve_s / 3600);
            if (!cured(Judge(family_, less, f).run(), kBattery)) continue;
            say(fmt::format("or bring what the vehicle draws beside the set down to {:.1f} A", a));
            break;
        }
    }

    const family::Family& family_;
    const Need& need_;
    const SupplyFigures& f_;
    const SupplyAnswer& found_;
    std::vector<std::string> out_;
};

}  // namespace

std::optional<double> loop_ohm(double one_way_m, double section_mm2, double celsius) {
    for (const auto& [section, ohm_km] : kClass5) {
        if (std::abs(section - section_mm2) > 1e-9) continue;
        return 2 * one_way_m * ohm_km / 1000 * (234.5 + celsius) / 254.5;
    }
    return std::nullopt;
}

double peukert_hours(double rated_Ah, double rated_h, double current_A, double k) {
    return rated_h * std::pow(rated_Ah / (current_A * rated_h), k);
}

// Below the rated current the law would give more than the rating: that gift is not taken.
double drawn_Ah(double rated_Ah, double rated_h, double current_A, double hours, double k) {
    return current_A * hours * std::max(1.0, std::pow(current_A * rated_h / rated_Ah, k - 1));
}

double charge_from_rested_V(double volts) {
    constexpr std::array<std::pair<double, double>, 5> kTable = {
        {{11.89, 0}, {12.06, 0.25}, {12.24, 0.50}, {12.45, 0.75}, {12.65, 1}}};
    if (volts <= kTable.front().first) return 0;
    for (std::size_t i = 1; i < kTable.size(); ++i) {
        if (volts > kTable[i].first) continue;
        const auto [v0, c0] = kTable[i - 1];
        const auto [v1, c1] = kTable[i];
        return c0 + (c1 - c0) * (volts - v0) / (v1 - v0);
    }
    return 1;
}

Need need_of(const family::Family& family, const forecast::Forecast& forecast, const SupplyFigures& figures) {
    Need n;
    n.seconds_p50 = forecast.total.p50_s;
    n.seconds_p90 = forecast.total.p90_s;
    n.reserve_s = family.supply ? family.supply->reserve_s : 0;
    const double vehicle_A = figures.on_bench ? 0 : figures.vehicle_A.value_or(0);
    const double set_A = n.seconds_p50 > 0 ? forecast.energy_p50_Ah * 3600 / n.seconds_p50 : 0;
    n.mean_A = set_A + vehicle_A;
    n.peak_A = forecast.peak_A > 0 ? forecast.peak_A + vehicle_A : 0;
    n.reserve_Ah = forecast.reserve_Ah + vehicle_A * n.reserve_s / 3600;
    n.ah_p90 = forecast.energy_p90_Ah + vehicle_A * n.seconds_p90 / 3600 + n.reserve_Ah;
    n.draws_s = forecast.draws_s;
    n.rests_on = forecast.rests_on;
    return n;
}

SupplyAnswer judge_supply(const family::Family& family, const Need& need, const SupplyFigures& figures) {
    SupplyAnswer answer = Judge(family, need, figures).run();
    answer.remedies = Remedies(family, need, figures, answer).run();
    return answer;
}

}  // namespace fettle::ready
