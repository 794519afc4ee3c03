#include "fettle/ready/ready.h"

#include "fettle/ready/cautions.h"
#include "fettle/ready/checker.h"
#include "fettle/ready/told.h"

namespace fettle::ready {

Check Checker::run() {
    plan();
    consent();
    card();
    right();
    keepings();
    supply();
    if (!s_.on_bench) {
        engine();
        vehicle_timer();
    }
    asks();
    cards();
    wakes();
    people();
    call();
    holds();
    duration();
    zones();
    contradictions();
    for (const Item& item : out_.items) out_.judgement.add(item.reason);
    Circumstances c;
    c.on_bench = s_.on_bench;
    c.engine_running = yes(s_.told, "engine", "running", "off").value_or(false);
    c.battery_charging = yes(s_.told, "support", "yes", "no").value_or(false);
    out_.cautions = cautions_for(c);
    return std::move(out_);
}

Check check(const family::Family& family, const forecast::Forecast& forecast, const cutmap::CutMap& map,
            const Situation& situation) {
    return Checker(family, forecast, map, situation).run();
}

}  // namespace fettle::ready
