#include "fettle/ready/cautions.h"

#include <stdexcept>

namespace fettle::ready {

const std::vector<Caution>& cautions() {
    static const std::vector<Caution> all = {
        {"exhaust",
         "An engine that runs indoors fills the bay with carbon monoxide, which has no smell: lead the exhaust outside "
         "at the tailpipe first, and follow the local rules for workshops."},
        {"high-voltage",
         "An electric or hybrid vehicle: high-voltage work is for people trained and licensed for it, by the maker's "
         "instructions; keep the vehicle's keys away from it."},
        {"restraints",
         "Airbag or steering column near the part that comes out: disconnect and wait as the vehicle maker states, "
         "never "
         "less, and leave the circuit to licensed people."},
        {"battery-gas",
         "A battery on charge gives off gas that explodes: air the place, no flame or spark, supply off before clamps "
         "go on or come off, and follow the maker's instructions."},
        {"stop-start",
         "An engine left running for a run: switch stop-start off as the vehicle maker states, or it cranks by itself "
         "in "
         "mid-run."},
        {"cranking",
         "Nobody cranks the engine or puts on jump leads in mid-run: the voltage falls to where a box restarts. What "
         "the "
         "vehicle maker allows in between is in the maker's instructions."},
        {"secured",
         "Secure the vehicle before the start (parking brake, wheels, gear as the maker states); nobody drives it or "
         "works on it during the run."},
        {"bench-supply",
         "A bench supply needs a fuse near its terminal and a person within earshot; follow the maker's limits and the "
         "local electrical rules."},
        {"keep-power",
         "Once the run has begun, cutting power is rarely the safer act: keep it fed and look at the map of power cuts "
         "and the maker's instructions before anything is switched off."},
    };
    return all;
}

const Caution& caution(std::string_view id) {
    for (const Caution& c : cautions()) {
        if (c.id == id) return c;
    }
    throw std::out_of_range("no such caution");
}

std::vector<std::string> cautions_for(const Circumstances& c) {
    std::vector<std::string> out;
    if (c.engine_running) out.push_back(caution("exhaust").text);
    if (!c.on_bench) out.push_back(caution("high-voltage").text);
    if (c.part_comes_out) out.push_back(caution("restraints").text);
    if (c.battery_charging) out.push_back(caution("battery-gas").text);
    if (c.engine_running) out.push_back(caution("stop-start").text);
    if (!c.on_bench) out.push_back(caution("cranking").text);
    if (!c.on_bench) out.push_back(caution("secured").text);
    if (c.on_bench) out.push_back(caution("bench-supply").text);
    out.push_back(caution("keep-power").text);
    return out;
}

}  // namespace fettle::ready
