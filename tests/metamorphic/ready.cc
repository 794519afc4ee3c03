// Ready over random answers: dunnock, brill and pelm by their own files.
#include "fettle/ready/ready.h"

#include <algorithm>

#include "fettle/base/source_path.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

struct Base {  // dear to make, the same in many worlds
    family::Family family;
    forecast::Forecast forecast;
    cutmap::CutMap map;
};

const Base& base(std::size_t number) {
    static const std::vector<Base> all = [] {
        std::vector<Base> out;
        for (const char* id : {"dunnock", "brill", "pelm"}) {
            Base b;
            b.family = family::load_family(source_path(fmt::format("families/{}.toml", id))).value();
            change::ChangeSheet sheet;
            sheet.from = "1.0.1";
            sheet.to = "1.0.2";
            for (const auto& r : b.family.regions)
                for (int i = 0; i < 3; ++i) {
                    change::Line line;
                    line.box = r.box;
                    line.name = fmt::format("{}-{}", r.name, i);
                    line.region = r.name;
                    line.before = "1";
                    line.after = "2";
                    line.bytes = 1 << 20;
                    sheet.lines.push_back(line);
                }
            b.forecast = forecast::forecast(b.family, sheet, {});
            b.forecast.draws_s.resize(200);
            b.map = cutmap::power_cut_map(b.family, sheet, b.forecast, 1);
            out.push_back(std::move(b));
        }
        return out;
    }();
    return all[number % all.size()];
}

struct World {
    std::size_t base = 0;
    ready::Situation situation;
};

// Every value is one that the check takes; what is good and what is bad are as likely.
World world(Random& random) {
    World w;
    w.base = random() % 3;
    ready::Situation& s = w.situation;
    s.on_bench = one_in(random, 3);
    s.release = "1.0.2";
    s.plan_verdict = one_in(random, 6) ? Verdict::mind : Verdict::fit;
    s.card_release = "1.0.2";
    s.card_audited_good = true;
    s.right_known = true;
    const auto say = [&](const std::string& key, const std::vector<std::string>& values) {
        if (!one_in(random, 12)) s.told[key] = any_of_these(random, values);
    };
    const auto figure = [&](const std::string& key, double low, double high) {
        if (!one_in(random, 12))
            s.told[key] = fmt::format("{:.1f}", low + static_cast<double>(random() % 1001) / 1000 * (high - low));
    };
    say("slots", {"empty", "empty", "empty", "not-empty"});
    say("supply.fused", {"yes", "yes", "no"});
    say("call", {"heard", "staying", "not-heard"});
    for (const auto& h : {"doors", "ignition", "stick", "other-testers", "support", "lights", "stop-start", "charger",
                          "medium", "feed", "key", "card"})
        if (ready::check_answer(base(w.base).family, std::string("hold.") + h, "yes"))
            say(std::string("hold.") + h, {"yes", "yes", "yes", "yes", "yes", "no"});
    for (const auto& a : base(w.base).family.script) {
        if (a.kind == family::ActKind::ask) say(a.id, {"answers", "answers", "answers", "dead"});
        if (a.kind == family::ActKind::ask || !a.wake.empty()) say("person." + a.id, {"yes", "yes", "yes", "no"});
        if (!a.wake.empty()) say("wake." + a.id, {"yes", "yes", "no"});
    }
    if (s.on_bench) {
        figure("supply.volts", 11, 15);
        figure("supply.limit", 2, 20);
        figure("supply.lead_m", 0.5, 8);
        say("supply.lead_mm2", {"1.5", "2.5", "4", "6"});
        return w;
    }
    say("support", {"yes", "no", "no"});
    say("engine", {"off", "off", "running"});
    say("stop-start", {"off", "on"});
    say("bay-door", {"open", "closed"});
    say("timer-held", {"yes"});
    figure("supply.volts", 12, 15);
    figure("supply.limit", 10, 60);
    figure("supply.lead_m", 0.5, 8);
    say("supply.lead_mm2", {"6", "10", "16", "25"});
    figure("vehicle.amps", 0, 15);
    figure("battery.ah", 40, 110);
    figure("battery.health", 50, 100);
    if (one_in(random, 2)) {
        figure("battery.charge", 50, 100);
    } else {
        figure("battery.rested_v", 11.9, 12.9);
        figure("battery.rested_h", 4, 20);
    }
    figure("battery.c", -25, 35);
    say("battery.kind", {"flooded", "agm", "other"});
    if (one_in(random, 2)) {
        figure("battery.loaded_v", 11.0, 12.6);
        figure("battery.loaded_a", 5, 30);
    }
    return w;
}

ready::Check ask(const World& w) {
    const Base& b = base(w.base);
    return ready::check(b.family, b.forecast, b.map, w.situation);
}
Verdict verdict(const World& w) {
    return ask(w).judgement.verdict();
}

// Of what is asked for. A measurement that nobody asks for shows what without it nobody sees: then less is told.
Outcome an_answer_less(const World& w, Random& random) {
    std::vector<std::string> keys;
    for (const auto& [key, value] : w.situation.told)
        if (!key.starts_with("battery.loaded")) keys.push_back(key);
    if (keys.empty()) return not_asked;
    const std::string key = any_of_these(random, keys);
    World other = w;
    other.situation.told.erase(key);
    const bool asked = key != "bay-door" && key != "stop-start" && key != "timer-held";
    if (!asked && w.situation.told.count("engine") != 0 && w.situation.told.at("engine") == "off") return not_asked;
    if (key == "supply.fused" || key == "call") return not_asked;  // not said is a caution there
    return never_opens(verdict(w), verdict(other), "not saying " + key);
}

Outcome colder(const World& w, Random& random) {
    if (w.situation.on_bench) return not_asked;
    const auto at = w.situation.told.find("battery.c");
    World other = w;
    if (at == w.situation.told.end()) {
        other.situation.told["battery.c"] = "25";
        return never_betters(verdict(other), verdict(w), "not saying that the battery has 25 °C");
    }
    const double to = std::max(-40.0, std::stod(at->second) - static_cast<double>(1 + random() % 30));
    other.situation.told["battery.c"] = fmt::format("{:.1f}", to);
    return never_betters(verdict(w), verdict(other),
                         "colder, " + at->second + " to " + other.situation.told["battery.c"]);
}

Outcome worse_battery(const World& w, Random& random) {
    if (w.situation.on_bench) return not_asked;
    World other = w;
    const std::string key = any_of_these<std::string>(random, {"battery.ah", "battery.health", "battery.charge"});
    const auto at = other.situation.told.find(key);
    if (at == other.situation.told.end()) return not_asked;
    const std::string was = at->second;
    at->second = fmt::format("{:.1f}", std::max(1.0, std::stod(was) * 0.9));
    return never_betters(verdict(w), verdict(other), fmt::format("{} from {} to {}", key, was, at->second));
}

Outcome more_drawn(const World& w, Random&) {
    World other = w;
    const auto at = other.situation.told.find("vehicle.amps");
    if (w.situation.on_bench || at == other.situation.told.end()) return not_asked;
    at->second = fmt::format("{:.1f}", std::stod(at->second) + 2);
    return never_betters(verdict(w), verdict(other), "a vehicle that draws 2 A more");
}

Outcome contradiction(const World& w, Random& random) {
    World other = w;
    std::string what;
    switch (random() % 3) {
        case 0: {
            if (w.situation.on_bench) return not_asked;
            other.situation.told["hold.ignition"] = "yes";
            World without = other;
            without.situation.told["engine"] = "off";
            other.situation.told["engine"] = "running";
            if (verdict(other) == Verdict::halt) return {};
            return {true, "the engine runs and stays off, and nothing stops it"};
        }
        case 1: {
            std::vector<const family::Act*> asks;
            for (const auto& a : base(w.base).family.script)
                if (a.kind == family::ActKind::ask && !a.control.empty() && w.situation.told.count(a.id) != 0)
                    asks.push_back(&a);
            if (asks.empty()) return not_asked;
            const auto* a = any_of_these(random, asks);
            other.situation.told[a->control] = w.situation.told.at(a->id) == "dead" ? "answers" : "dead";
            what = a->control + " said otherwise for all";
            break;
        }
        default:
            if (ask(w).hands.empty()) return not_asked;
            other.situation.told["call"] = "staying";
            for (const auto& h : ask(w).hands) other.situation.told["person." + h.act] = "no";
            if (verdict(other) == Verdict::halt) return {};
            return {true, "somebody stays and nobody is there, and nothing stops it"};
    }
    return never_betters(verdict(w), verdict(other), what);
}

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    for (const auto& [key, value] : w.situation.told) {
        World s = w;
        s.situation.told.erase(key);
        out.push_back(std::move(s));
    }
    return out;
}

std::string show(const World& w) {
    std::string out = fmt::format("  {}, {}\n", base(w.base).family.id, w.situation.on_bench ? "bench" : "vehicle");
    for (const auto& [key, value] : w.situation.told) out += fmt::format("  {}={}\n", key, value);
    const auto c = ask(w);
    for (const auto& r : c.judgement.reasons)
        if (r.verdict != Verdict::fit) out += fmt::format("    {} {}: {}\n", words(r.verdict), r.code, r.text);
    return out;
}

TEST(Metamorphic, Ready) {
    run(Suite<World>{"ready",
                     world,
                     smaller,
                     show,
                     {{"an answer less never turns can't say or halt into a start", an_answer_less},
                      {"colder, or its temperature not said, never betters", colder},
                      {"a lesser battery never betters", worse_battery},
                      {"more drawn never betters", more_drawn},
                      {"answers that contradict each other never better, and stop", contradiction}}},
        30);
}

}  // namespace
}  // namespace fettle::metamorphic
