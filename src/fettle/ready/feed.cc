// What keeps the boxes fed: supply and fuse, engine and exhaust, the vehicle's own timer.
#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/ready/cautions.h"
#include "fettle/ready/checker.h"
#include "fettle/ready/told.h"

namespace fettle::ready {

void Checker::supply() {
    SupplyFigures figures = supply_figures(s_.told, s_.on_bench);
    figures.read = s_.read_s_ago.contains("supply.volts") && s_.read_s_ago.contains("supply.limit");
    const SupplyAnswer a = judge_supply(family_, need_of(family_, forecast_, map_), figures);
    const std::string value = a.value.empty() ? "not all figures are said" : a.value;
    const std::string next = a.remedies.empty() ? (a.wanted.empty() ? std::string() : "say " + join(a.wanted, ", "))
                                                : join(a.remedies, "; ");
    for (const Reason& r : a.judgement.reasons) {
        item("supply", value, r, r.verdict == Verdict::fit ? std::string() : next);
    }
    out_.remedies = a.remedies;
    for (const std::string& w : a.wanted) want(w);
    reading_age();
    if (s_.on_bench) fuse();
}

// What an instrument said long ago is a memory: somebody may have turned a knob since.
void Checker::reading_age() {
    constexpr std::int64_t fresh_s = 1800;
    std::int64_t oldest = 0;
    for (const auto& [key, ago] : s_.read_s_ago)
        if (key.starts_with("supply.")) oldest = std::max(oldest, ago);
    if (oldest <= fresh_s) return;
    const std::string ago = human_duration(static_cast<double>(oldest));
    item("supply's reading", ago + " old",
         {"supply-reading-old", Verdict::mind,
          "the supply was read " + ago + " ago; its knobs may have been turned since", "supply", "read"},
         {"read it again: ", propose(Act::read_supply, {wanted("from", "SOURCE")})});
}

void Checker::fuse() {
    const auto fused = yes(s_.told, "supply.fused", "yes", "no");
    if (fused.value_or(false)) {
        item("fuse", "yes (typed)",
             {"supply-fused", Verdict::fit, "the bench supply is fused near its terminal", "supply", "typed"});
    } else if (fused) {
        item("fuse", "no (typed)",
             {"supply-not-fused", Verdict::halt, "the bench supply has no fuse near its terminal", "supply", "typed"},
             "put a fuse in the lead, by the maker's and the local rules");
    } else {
        want("supply.fused");
        item("fuse", "not said",
             {"supply-fuse-not-said", Verdict::mind, "whether the bench supply is fused is not said", "supply",
              "not said"},
             "look, then say supply.fused=yes");
    }
}

void Checker::engine() {
    const auto running = yes(s_.told, "engine", "running", "off");
    if (!running) {
        want("engine");
        item("engine", "not said",
             {"engine-not-said", Verdict::cant_say, "whether the engine runs is not said", "engine", "not said"},
             "say engine=off");
        return;
    }
    if (!*running) {
        item("engine", "off (typed)", {"engine-off", Verdict::fit, "the engine is off", "engine", "typed"});
        return;
    }
    exhaust();
    const auto off = yes(s_.told, "stop-start", "off", "on");
    if (!off) {
        want("stop-start");
        item("stop-start", "not said",
             {"stop-start-not-said", Verdict::cant_say,
              "the engine runs, and whether stop-start is off is not said; a start in mid-run makes the voltage dip",
              "stop-start", "not said"},
             "switch stop-start off, then say stop-start=off");
    } else if (!*off) {
        item("stop-start", "on (typed)",
             {"stop-start-on", Verdict::halt,
              "stop-start is on: it would stop and crank the engine in mid-run, and the voltage dips", "stop-start",
              "typed"},
             "switch stop-start off");
    }
}

void Checker::exhaust() {
    const auto open = yes(s_.told, "bay-door", "open", "closed");
    const bool led_out = yes(s_.told, "extraction", "yes", "no").value_or(false);
    if (led_out) {
        item("exhaust", "led outside (typed)",
             {"engine-running", Verdict::mind, "the engine runs; the exhaust is led outside", "engine", "typed"},
             "a support supply with the engine off is the quieter way");
    } else if (!open) {
        want("bay-door");
        item("exhaust", "bay door not said",
             {"bay-door-not-said", Verdict::cant_say, "the engine runs, and whether the bay door is open is not said",
              "engine", "not said"},
             caution("exhaust").text);
    } else if (!*open) {
        item("exhaust", "bay door closed (typed)",
             {"exhaust-first", Verdict::halt, "the engine runs with the bay door closed: exhaust first", "engine",
              "typed"},
             caution("exhaust").text);
    } else {
        item("exhaust", "bay door open (typed)",
             {"engine-running", Verdict::mind, "the engine runs; an open door alone may not carry the gas away",
              "engine", "typed"},
             caution("exhaust").text);
    }
}

void Checker::vehicle_timer() {
    const auto after = family_.supply ? family_.supply->vehicle_off_after_s : std::nullopt;
    if (!after) {
        item("vehicle timer", "not known",
             {"vehicle-timer-not-known", Verdict::cant_say,
              "whether the vehicle ends ignition by itself is not known for this family", "timer", "family file"},
             "look it up in the maker's instructions");
        return;
    }
    const std::string value = fmt::format("ends ignition after {}; the run takes up to {}", human_duration(*after),
                                          human_duration(forecast_.total.p90_s));
    if (yes(s_.told, "timer-held", "yes", "no").value_or(false)) {
        item("vehicle timer", "held (typed)",
             {"vehicle-timer-held", Verdict::fit, "the vehicle's timer is held off by the maker's way", "timer",
              "typed"});
        return;
    }
    const auto& d = forecast_.draws_s;
    const double odds = d.empty() ? (forecast_.total.p90_s <= *after ? 0.95 : 0.0)
                                  : static_cast<double>(std::upper_bound(d.begin(), d.end(), *after) - d.begin()) /
                                        static_cast<double>(d.size());
    const Verdict v = odds >= 0.99 ? Verdict::fit : odds >= 0.95 ? Verdict::mind : Verdict::halt;
    item("vehicle timer", value,
         {v == Verdict::fit    ? "vehicle-timer-long-enough"
          : v == Verdict::mind ? "vehicle-timer-close"
                               : "vehicle-timer-too-short",
          v,
          v == Verdict::halt   ? "the vehicle may end ignition before the run is done"
          : v == Verdict::mind ? "the vehicle's timer ends close after the run"
                               : "the vehicle's timer outlasts the run",
          "timer", forecast_.rests_on},
         v == Verdict::fit ? "" : "hold the timer off by the maker's way, then say timer-held=yes");
}

}  // namespace fettle::ready
