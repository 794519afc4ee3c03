#include "fettle/show/gauge.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/show/card.h"

namespace fettle::show {
namespace {

json::object seen_as_json(const card::Seen& s) {
    return {{"cold", s.cold},
            {"sectors", s.sectors},
            {"right", s.right},
            {"foreign", s.foreign},
            {"empty", s.empty},
            {"damaged", s.damaged},
            {"unreadable_stretches", s.unreadable.size()},
            {"wrap_bytes", s.wrap_bytes}};
}

json::object pace_as_json(const card::Pace& p) {
    return {{"write_bytes_per_s", p.write_rate},
            {"slowest_write_bytes_per_s", p.slowest_write_rate},
            {"read_bytes_per_s", p.read_rate},
            {"classes_met", texts_as_json(p.classes_met)},
            {"slow_spots", p.slow.size()}};
}

}  // namespace

Answer gauged(const workshop::GaugedCard& c) {
    const card::Gauged& g = c.gauged;
    Answer a;
    a.headline = card::headline(g);
    a.judgement = c.judgement;
    a.data = {{"card", c.device.path}, {"size_bytes", g.plan.card_bytes}, {"replugged", g.replugged}};
    if (g.first) a.data["first"] = seen_as_json(*g.first);
    if (g.again) a.data["again"] = seen_as_json(*g.again);
    if (g.written && g.first) a.data["pace"] = pace_as_json(card::pace(g.plan, *g.written, *g.first));
    a.text = device_page(c.device, c.was_on_it);
    if (!g.first) {
        a.text += fmt::format("The marks were written {}.\n", c.marked_at);
        return a;
    }
    a.text += "What was on it is gone; lay it or format it before use.\n";
    if (!g.first->sound() || g.again) return a;
    a.text += "Pull the card, put it back in, then: ";
    a.text += propose(Act::gauge_card, {given("device", c.device.path), flag("again")});
    a.text += "\n";
    return a;
}

}  // namespace fettle::show
