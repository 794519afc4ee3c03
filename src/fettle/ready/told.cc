#include "fettle/ready/told.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/ready/holds.h"

namespace fettle::ready {
namespace {

Key number(std::string name, std::string unit, double low, double high) {
    std::string wanted = fmt::format("a number of {} from {:g} to {:g}", unit, low, high);
    return {std::move(name), std::move(wanted), low, high, {}};
}

Key choice(std::string name, std::vector<std::string> words) {
    std::string wanted = join(words, " or ");
    return {std::move(name), std::move(wanted), 0, 0, std::move(words)};
}

const std::vector<std::string> kYesNo = {"yes", "no"};
const std::vector<std::string> kTest = {"answers", "dead"};

bool names_rest(const family::Family& family, const std::string& stem, const std::string& rest) {
    if (stem == "hold.") {
        for (const bool on_bench : {true, false})
            for (const family::Hold& h : holds_of(family, on_bench))
                if (h.id == rest) return true;
        return false;
    }
    if (stem == "card." && family.card)
        for (unsigned n = 2; n <= family.card->in_turn.most; ++n)
            if (std::to_string(n) == rest) return true;
    return std::any_of(family.script.begin(), family.script.end(), [&](const family::Act& a) {
        if (stem == "wake.") return !a.wake.empty() && a.id == rest;
        if (stem == "card.") return a.card >= 2 && std::to_string(a.card) == rest;
        if (stem == "person.") return (a.kind == family::ActKind::ask || !a.wake.empty()) && a.id == rest;
        return stem == "touch." && a.kind == family::ActKind::ask && key_part(a.area) == rest;
    });
}

const Key* find_key(const family::Family& family, const std::string& name) {
    for (const Key& k : keys()) {
        if (k.name == name && k.name.back() != '.') return &k;
        if (k.name.back() == '.' && name.starts_with(k.name) && names_rest(family, k.name, name.substr(k.name.size())))
            return &k;
    }
    static const Key ask = choice("(an ask)", kTest);
    const family::Act* act = family.act(name);
    return act && act->kind == family::ActKind::ask ? &ask : nullptr;
}

std::string known_keys(const family::Family& family) {
    std::vector<std::string> names;
    for (const Key& k : keys()) {
        if (k.name.back() != '.') names.push_back(k.name);
    }
    for (const bool on_bench : {true, false}) {
        for (const auto& h : holds_of(family, on_bench)) {
            const std::string name = "hold." + h.id;
            if (std::find(names.begin(), names.end(), name) == names.end()) names.push_back(name);
        }
    }
    for (unsigned n = 2; family.card && n <= family.card->in_turn.most; ++n) names.push_back(fmt::format("card.{}", n));
    for (const auto& a : family.script) {
        if (a.kind == family::ActKind::ask) names.push_back(a.id);
        if (!a.area.empty()) names.push_back("touch." + key_part(a.area));
        if (a.card >= 2 && !(family.card && static_cast<unsigned>(a.card) <= family.card->in_turn.most))
            names.push_back("card." + std::to_string(a.card));
        if (a.kind == family::ActKind::ask || !a.wake.empty()) names.push_back("person." + a.id);
        if (!a.wake.empty()) names.push_back("wake." + a.id);
    }
    return join(names, ", ");
}

}  // namespace

const std::vector<Key>& keys() {
    static const std::vector<Key> all = {
        number("supply.volts", "volts", 0, 60),
        number("supply.limit", "amperes", 0, 500),
        number("supply.lead_m", "metres, one way,", 0, 50),
        number("supply.lead_mm2", "square millimetres", 0.1, 630),
        number("supply.lead_c", "degrees Celsius", -40, 120),
        number("supply.contacts_mohm", "milliohms, both together,", 0, 1000),
        number("supply.measured_v", "volts", 0, 60),
        number("supply.box_v", "volts", 0, 60),
        number("supply.box_a", "amperes", 0, 500),
        choice("supply.output", {"on", "off"}),
        choice("supply.fused", kYesNo),
        choice("support", kYesNo),
        number("battery.ah", "ampere hours", 1, 500),
        number("battery.health", "per cent", 1, 100),
        number("battery.charge", "per cent", 0, 100),
        number("battery.rested_v", "volts", 0, 20),
        number("battery.rested_h", "hours", 0, 10000),
        number("battery.floor", "per cent", 0, 100),
        number("battery.peukert", "the exponent", 1, 2),
        number("battery.rated_h", "hours", 1, 100),
        choice("battery.kind", {"flooded", "agm", "other"}),
        number("battery.c", "degrees Celsius", -40, 60),
        number("battery.loaded_v", "volts", 0, 20),
        number("battery.loaded_a", "amperes", 1, 500),
        number("vehicle.amps", "amperes", 0, 200),
        choice("engine", {"off", "running"}),
        choice("bay-door", {"open", "closed"}),
        choice("extraction", kYesNo),
        choice("stop-start", {"off", "on"}),
        choice("timer-held", kYesNo),
        choice("slots", {"empty", "not-empty"}),
        choice("knob", kTest),
        choice("touch", kTest),
        choice("key", kTest),
        choice("touch.", kTest),
        choice("card.", kYesNo),
        choice("person.", kYesNo),
        choice("person", kYesNo),
        choice("call", {"heard", "not-heard", "staying"}),
        choice("wake.", kYesNo),
        choice("hold.", kYesNo),
        choice("holds", kYesNo),
    };
    return all;
}

Status check_answer(const family::Family& family, const std::string& key, const std::string& value) {
    const Key* k = find_key(family, key);
    if (!k) {
        return usage_error("answer-key-unknown", printable(key), "nothing in the ready check has this name",
                           "use one of: " + known_keys(family));
    }
    bool good = false;
    if (k->choices.empty()) {
        const auto v = number_in<double>(value);
        good = v && *v >= k->low && *v <= k->high;
    } else {
        good = std::find(k->choices.begin(), k->choices.end(), value) != k->choices.end();
    }
    if (good) return {};
    return usage_error("answer-value-wrong", printable(key),
                       fmt::format("\"{}\" was said, expected {}", printable(value), k->wanted),
                       fmt::format("say {}=…", printable(key)));
}

std::optional<double> figure(const Told& told, const std::string& key) {
    const auto it = told.find(key);
    return it == told.end() ? std::nullopt : number_in<double>(it->second);
}

std::optional<bool> yes(const Told& told, const std::string& key, std::string_view yes_word, std::string_view no_word) {
    const auto it = told.find(key);
    if (it == told.end()) return std::nullopt;
    if (it->second == yes_word) return true;
    if (it->second == no_word) return false;
    return std::nullopt;
}

SupplyFigures supply_figures(const Told& told, bool on_bench) {
    const auto share = [&](const std::string& key) {
        auto v = figure(told, key);
        if (v) *v /= 100;
        return v;
    };
    SupplyFigures f;
    f.on_bench = on_bench;
    f.support = yes(told, "support", "yes", "no");
    f.set_V = figure(told, "supply.volts");
    f.limit_A = figure(told, "supply.limit");
    f.lead_m = figure(told, "supply.lead_m");
    f.lead_mm2 = figure(told, "supply.lead_mm2");
    f.battery_Ah = figure(told, "battery.ah");
    f.health = share("battery.health");
    f.charge = share("battery.charge");
    f.rested_V = figure(told, "battery.rested_v");
    f.rested_h = figure(told, "battery.rested_h");
    f.floor = share("battery.floor");
    f.peukert_k = figure(told, "battery.peukert");
    f.vehicle_A = figure(told, "vehicle.amps");
    f.lead_C = figure(told, "supply.lead_c");
    if (const auto mohm = figure(told, "supply.contacts_mohm")) f.contacts_ohm = *mohm / 1000;
    f.measured_V = figure(told, "supply.measured_v");
    f.box_V = figure(told, "supply.box_v");
    f.box_A = figure(told, "supply.box_a");
    f.output_on = yes(told, "supply.output", "on", "off");
    f.rated_h = figure(told, "battery.rated_h").value_or(f.rated_h);
    f.battery_C = figure(told, "battery.c");
    f.loaded_V = figure(told, "battery.loaded_v");
    f.loaded_A = figure(told, "battery.loaded_a");
    const auto kind = told.find("battery.kind");
    if (kind != told.end()) {
        if (kind->second == "flooded") f.kind = BatteryKind::flooded;
        if (kind->second == "agm") f.kind = BatteryKind::agm;
        f.other_kind = kind->second == "other";
    }
    return f;
}

std::string key_part(std::string_view words) {
    std::string out(words);
    std::replace(out.begin(), out.end(), ' ', '-');
    return out;
}

std::string tested(const Told& told, const family::Act& ask, const std::string& control) {
    std::vector<std::string> names;
    if (control == ask.control) names.push_back(ask.id);
    if (control == "touch" && !ask.area.empty()) names.push_back("touch." + key_part(ask.area));
    names.push_back(control);
    std::string first;
    for (const std::string& name : names) {
        const auto it = told.find(name);
        if (it == told.end()) continue;
        if (it->second == "dead") return it->second;  // whatever else was said of it
        if (first.empty()) first = it->second;
    }
    return first;
}

std::vector<std::string> also_denied_by(const Told& told, const std::string& key, const std::string& value) {
    std::vector<std::string> out;
    const std::string stem = key == "holds" ? "hold." : key == "person" ? "person." : "";
    if (stem.empty() || value != "no") return out;
    for (const auto& [other, said] : told)
        if (other.starts_with(stem) && said == "yes") out.push_back(other);
    return out;
}

}  // namespace fettle::ready
