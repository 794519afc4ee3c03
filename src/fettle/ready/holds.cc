#include "fettle/ready/holds.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace fettle::ready {
namespace {

struct General {
    const char *id, *words;
    bool on_bench, in_vehicle;
    std::vector<std::string> seen_by;
    std::vector<std::string> same;  // ids under which family files say the same
};

// Common practice, no source.
const std::vector<General>& general_holds() {
    static const std::vector<General> all = {
        {"doors", "doors and bonnet stay as they are", false, true, {}, {}},
        {"lights", "lamps and blower stay off", false, true, {"voltage"}, {}},
        {"key", "the key stays where it is, and the ignition as it is", false, true, {"voltage"}, {"ignition"}},
        {"other-testers", "no other tester on the diagnostic socket", false, true, {"bus"}, {}},
        {"stop-start", "stop-start stays off; nobody cranks", false, true, {"voltage"}, {}},
        {"charger", "the support supply stays on and connected", false, true, {"voltage"}, {"support", "supply"}},
        {"medium", "the card or stick stays in", true, true, {}, {"stick", "card"}},
        {"feed", "the bench supply stays on and connected", true, false, {"voltage"}, {"support", "supply"}},
    };
    return all;
}

}  // namespace

bool is_support(const family::Hold& hold) {
    return hold.id == "charger" || hold.id == "support" || hold.id == "supply";
}

std::vector<family::Hold> holds_of(const family::Family& family, bool on_bench) {
    std::vector<family::Hold> out;
    for (family::Hold h : family.holds) {
        if (on_bench ? !h.on_bench : !h.in_vehicle) continue;
        if (h.seen_by.empty()) {
            for (const General& g : general_holds())
                if (g.id == h.id || std::find(g.same.begin(), g.same.end(), h.id) != g.same.end())
                    h.seen_by = g.seen_by;
        }
        out.push_back(std::move(h));
    }
    for (const General& g : general_holds()) {
        if (on_bench ? !g.on_bench : !g.in_vehicle) continue;
        // An entry of the family speaks for the matter even where it says that it does not hold at this place.
        const bool said = std::any_of(family.holds.begin(), family.holds.end(), [&](const family::Hold& h) {
            return h.id == g.id || std::find(g.same.begin(), g.same.end(), h.id) != g.same.end();
        });
        if (!said) out.push_back({g.id, g.words, g.on_bench, g.in_vehicle, false, g.seen_by});
    }
    return out;
}

std::string hold_seen_by(const std::vector<family::Hold>& holds, std::string_view witness) {
    // What feeds comes before what a change of the voltage only hints at.
    for (const char* first : {"support", "charger", "feed", "supply"}) {
        for (const family::Hold& h : holds)
            if (witness == "voltage" && h.id == first) return h.id;
    }
    for (const family::Hold& h : holds)
        if (std::find(h.seen_by.begin(), h.seen_by.end(), witness) != h.seen_by.end()) return h.id;
    return "supply";
}

VoltageWitness::VoltageWitness(const family::Family& family, bool on_bench)
    : hold_(hold_seen_by(holds_of(family, on_bench), "voltage")),
      lowest_V_(family.supply ? family.supply->lowest_V : 0) {}

std::optional<Breach> VoltageWitness::say(State now, const SupplySample& s, std::string words) {
    good_since_ = s.t;
    if (now == state_) return std::nullopt;
    state_ = now;
    return Breach{hold_, "voltage", std::move(words), s.t};
}

std::optional<Breach> VoltageWitness::observe(const SupplySample& s) {
    constexpr double slow_s = 30;  // the usual voltage follows with this time constant
    constexpr std::int64_t calm_ms = 10'000;
    constexpr UnixMs set_back_ms = 120'000;
    if (s.t < newest_ && newest_ - s.t < set_back_ms) return std::nullopt;
    if (s.t < newest_) last_ = good_since_ = s.t;  // the clock was set back: go on from there
    newest_ = s.t;
    if (!s.has_volts()) return std::nullopt;
    const double gap_s = last_ == 0 ? 0 : static_cast<double>(s.t - last_) / 1000;
    last_ = s.t;
    if (state_ == State::unknown) {
        state_ = State::good;
        good_since_ = s.t;
        usual_V_ = s.volts;
        if (s.volts >= 1 && s.volts >= lowest_V_) return std::nullopt;
        usual_V_ = std::max(s.volts, lowest_V_);
    }
    const auto from = [&] { return fmt::format("{:.1f} V at the supply, from {:.1f} V", s.volts, usual_V_); };
    if (s.volts < 1) return say(State::gone, s, "no voltage at the supply, from " + fmt::format("{:.1f} V", usual_V_));
    if (lowest_V_ > 0 && s.volts < lowest_V_)
        return say(State::low, s, from() + fmt::format("; the box needs {:.1f} V", lowest_V_));
    const double step_V = s.volts - usual_V_;
    // A step that stays becomes the usual voltage, so that it is said once and not for ever.
    usual_V_ += (s.volts - usual_V_) * (1 - std::exp(-gap_s / slow_s));
    if (step_V <= -kStep_V)
        return say(State::dip, s, fmt::format("{:.1f} V at the supply, {:.1f} V down", s.volts, -step_V));
    if (step_V >= kStep_V)
        return say(State::rise, s, fmt::format("{:.1f} V at the supply, {:.1f} V up", s.volts, step_V));
    if (state_ != State::good && s.t - good_since_ >= calm_ms) state_ = State::good;
    return std::nullopt;
}

}  // namespace fettle::ready
