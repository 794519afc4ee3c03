// The least remedy, by trying: each kind of change by itself, in small steps from where it stands, until the complaint
// is gone and nothing new has come. Where no single change serves, two together. What is said was judged by the same
// function that found the complaint; nothing is said that was not tried.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>

#include "fettle/ready/supply.h"

namespace fettle::ready {
namespace {

using Codes = std::vector<std::string>;
using Change = std::function<bool(SupplyFigures&, int step)>;  // false: no further step

const Codes kLimit = {"supply-limit-too-low"};
const Codes kVolts = {"voltage-too-low", "voltage-near-lowest", "lead-not-said"};
const Codes kBattery = {"battery-short", "battery-barely", "battery-voltage-short", "battery-voltage-near"};
constexpr int kMostSteps = 400;

bool complains(const SupplyAnswer& a, const Codes& codes) {
    return std::any_of(a.judgement.reasons.begin(), a.judgement.reasons.end(), [&](const Reason& r) {
        return r.verdict != Verdict::fit && std::find(codes.begin(), codes.end(), r.code) != codes.end();
    });
}

class Search {
public:
    Search(const family::Family& family, const Need& need, const SupplyFigures& figures, const SupplyAnswer& found)
        : family_(family), need_(need), f_(figures), found_(found) {}

    std::vector<std::string> run() {
        if (complains(found_, kLimit)) limit();
        if (complains(found_, {"voltage-too-low", "voltage-near-lowest"})) volts();
        if (complains(found_, kBattery)) battery();
        for (std::size_t i = 1; i < out_.size(); ++i) out_[i] = "or " + out_[i];
        return std::move(out_);
    }

private:
    // The first step of the change that cures; nullopt when none does.
    std::optional<SupplyFigures> least(const SupplyFigures& from, const Codes& codes, const Change& change) const {
        for (int step = 0; step < kMostSteps; ++step) {
            SupplyFigures f = from;
            if (!change(f, step)) return std::nullopt;
            const SupplyAnswer a = judge_figures(family_, need_, f);
            if (!complains(a, codes) && worst_of_others(a, codes) <= worst_of_others(found_, codes)) return f;
        }
        return std::nullopt;
    }
    static Verdict worst_of_others(const SupplyAnswer& a, const Codes& codes) {
        Verdict v = Verdict::fit;
        for (const Reason& r : a.judgement.reasons)
            if (std::find(codes.begin(), codes.end(), r.code) == codes.end()) v = worse(v, r.verdict);
        return v;
    }
    void say(std::string text) { out_.push_back(std::move(text)); }

    static bool raise_limit(SupplyFigures& f, int step) {
        f.limit_A = std::ceil(f.limit_A.value_or(0) * 10 - 1e-9) / 10 + 0.1 * step;
        return true;
    }
    static bool raise_volts(SupplyFigures& f, int step) {
        const double was = *f.set_V;
        f.set_V = std::ceil(was * 10 - 1e-9) / 10 + 0.1 * step;
        if (f.measured_V) *f.measured_V += *f.set_V - was;
        if (f.box_V) *f.box_V += *f.set_V - was;  // the same current over the same leads
        return *f.set_V <= kHigh_V + 1e-9;
    }
    static bool thicken(SupplyFigures& f, int step) {
        const auto& all = lead_sections();
        const auto at = std::upper_bound(all.begin(), all.end(), f.lead_mm2.value_or(0)) - all.begin() + step;
        if (!f.lead_m || !f.lead_mm2 || f.box_V || at >= static_cast<std::ptrdiff_t>(all.size())) return false;
        f.lead_mm2 = all[static_cast<std::size_t>(at)];
        return *f.lead_mm2 <= 70;  // thicker leads are none for clamps
    }
    static bool shorten(SupplyFigures& f, int step) {
        if (!f.lead_m || !f.lead_mm2 || f.box_V) return false;
        f.lead_m = std::floor(*f.lead_m * 10 + 1e-9) / 10 - 0.1 * step;
        return *f.lead_m >= 0.3;
    }
    static bool charge_up(SupplyFigures& f, int step) {
        f.rested_V.reset();
        f.charge = (step + 1) / 100.0;
        return step < 100;
    }
    static bool draw_less(SupplyFigures& f, int step) {
        if (!f.vehicle_A || *f.vehicle_A <= 0) return false;
        f.vehicle_A = std::floor(*f.vehicle_A * 2 + 1e-9) / 2 - 0.5 * step;
        return *f.vehicle_A >= 0;
    }

    void limit() {
        // By tenths up to 40 A more; a set that needs more is found in one go by its peak.
        if (const auto f = least(f_, kLimit, raise_limit))
            say(fmt::format("raise the current limit to {:.1f} A or more", *f->limit_A));
        else
            say(fmt::format("take a supply that gives {:.0f} A or more",
                            std::ceil(need_.peak_A + (f_.on_bench ? 0 : f_.vehicle_A.value_or(0)))));
    }

    void volts() {
        const std::size_t before = out_.size();
        if (const auto f = least(f_, kVolts, raise_volts))
            say(fmt::format("set the supply to {:.1f} V or more", *f->set_V));
        if (const auto f = least(f_, kVolts, thicken)) say(fmt::format("use leads of {:g} mm² or more", *f->lead_mm2));
        if (const auto f = least(f_, kVolts, shorten))
            say(fmt::format("use leads no longer than {:.1f} m each way", *f->lead_m));
        if (out_.size() > before) return;
        const auto both = least(f_, kVolts, [](SupplyFigures& f, int step) {
            f.set_V = std::max(*f.set_V, 14.4);
            return thicken(f, step);
        });
        if (both)
            say(fmt::format("use leads of {:g} mm² or more and set the supply to {:.1f} V", *both->lead_mm2,
                            *both->set_V));
    }

    void battery() {
        support();
        const std::size_t before = out_.size();
        if (const auto f = least(f_, kBattery, charge_up))
            say(fmt::format("charge the battery to {:.0f} % or more", *f->charge * 100));
        if (const auto f = least(f_, kBattery, draw_less))
            say(fmt::format("bring what the vehicle draws beside the set down to {:.1f} A", *f->vehicle_A));
        if (out_.size() > before) return;
        const auto both = least(f_, kBattery, [](SupplyFigures& f, int step) {
            f.rested_V.reset();
            f.charge = 1;
            return draw_less(f, step);
        });
        if (both)
            say(fmt::format("charge the battery fully and bring what the vehicle draws beside the set down to {:.1f} A",
                            *both->vehicle_A));
    }

    // A support supply with nothing said of its leads: the least limit in whole amperes, at the file's volts or the
    // least that leave room for leads.
    void support() {
        SupplyFigures f = f_;
        f.support = true;
        f.measured_V = f.box_V = f.box_A = std::nullopt;
        f.output_on.reset();
        const bool told = family_.supply && family_.supply->support_V;
        f.set_V = told ? *family_.supply->support_V : family_.supply ? family_.supply->lowest_V + 1 : 13.5;
        // Its leads are not known yet, which is no reason against it: only the limit and the volts must serve.
        std::optional<SupplyFigures> least_A;
        for (int amps = 1; amps <= 300 && !least_A; ++amps) {
            f.limit_A = amps;
            if (!complains(judge_figures(family_, need_, f), {"supply-limit-too-low", "voltage-too-low"})) least_A = f;
        }
        if (!least_A) return;
        say(fmt::format("fit a support supply that gives {:.0f} A or more{}", *least_A->limit_A,
                        told ? fmt::format(", set to {:.1f} V", *f.set_V) : ", set as the vehicle's maker says"));
    }

    const family::Family& family_;
    const Need& need_;
    const SupplyFigures& f_;
    const SupplyAnswer& found_;
    std::vector<std::string> out_;
};

}  // namespace

std::vector<std::string> search_remedies(const family::Family& family, const Need& need, const SupplyFigures& figures,
                                         const SupplyAnswer& found) {
    return Search(family, need, figures, found).run();
}

}  // namespace fettle::ready
