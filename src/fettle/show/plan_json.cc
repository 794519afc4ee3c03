#include "fettle/base/json.h"
#include "fettle/plan/json_parts.h"
#include "fettle/show/plan.h"

namespace fettle::show {
namespace {

using namespace plan;

json::object quantiles(const forecast::Quantiles& q) {
    return {{"p10_s", q.p10_s}, {"p50_s", q.p50_s}, {"p90_s", q.p90_s}, {"p99_s", q.p99_s}};
}

// What goes into the total between two steps; null where there is no between.
json::value handling_json(const family::Duration& each, std::size_t steps) {
    if (steps < 2) return nullptr;
    return json::object{
        {"times", steps - 1}, {"p50_s", each.median_s}, {"p90_s", each.p90_s}, {"source", each.source.words()}};
}

json::object range(const change::Range& r) {
    return {{"low", r.low}, {"expected", r.expected}, {"high", r.high}};
}

json::array outcomes(const cutmap::Outcomes& o) {
    json::array out;
    for (const auto x : o) out.emplace_back(std::string(cutmap::code(x)));
    return out;
}

json::object sheet_json(const change::ChangeSheet& s) {
    json::array lines;
    for (const auto& l : s.lines) {
        lines.push_back(json::object{{"box", l.box},
                                     {"name", l.name},
                                     {"region", l.region},
                                     {"before", l.before},
                                     {"after", l.after},
                                     {"action", json_word(words(l.action))},
                                     {"because", l.because},
                                     {"bytes", l.bytes},
                                     {"downgrade", l.downgrade}});
    }
    return {{"from", s.from},
            {"to", s.to},
            {"rests_on", std::string(words(s.rests_on))},
            {"bytes", s.bytes},
            {"tally", json::object{{"landed", range(s.tally.landed)},
                                   {"passed_over", range(s.tally.passed_over)},
                                   {"refused", range(s.tally.refused)},
                                   {"total", s.tally.total}}},
            {"lines", std::move(lines)}};
}

json::object forecast_json(const forecast::Forecast& f) {
    json::array states;
    for (const auto& s : f.states) {
        states.push_back(json::object{{"act", s.act},
                                      {"begins", quantiles(s.begins)},
                                      {"lasts", quantiles(s.lasts)},
                                      {"current_mean_A", s.current_mean_A},
                                      {"current_p99_A", s.current_p99_A},
                                      {"hands_on", s.hands_on}});
    }
    return {{"claim", f.claim},
            {"rests_on", f.rests_on.words()},
            {"own_runs", f.own_runs},
            {"total", quantiles(f.total)},
            {"energy_p50_Ah", f.energy_p50_Ah},
            {"energy_p90_Ah", f.energy_p90_Ah},
            {"reserve_Ah", f.reserve_Ah},
            {"peak_A", f.peak_A},
            {"hands_on", hands_as_json(f)},
            {"states", std::move(states)}};
}

json::object map_json(const cutmap::CutMap& m) {
    json::array moments;
    for (const auto& x : m.moments) {
        moments.push_back(json::object{{"act", x.act},
                                       {"cell", x.cell},
                                       {"outcomes", outcomes(x.outcomes)},
                                       {"with_further_cuts", outcomes(x.two_cuts)},
                                       {"story", x.story}});
    }
    json::array stretches;
    for (const auto& s : m.stretches) {
        stretches.push_back(json::object{{"outcomes", outcomes(s.outcomes)},
                                         {"worst", std::string(cutmap::code(cutmap::worst(s.outcomes)))},
                                         {"first_act", s.first_act},
                                         {"last_act", s.last_act},
                                         {"from_p50_s", s.from_p50_s},
                                         {"to_p50_s", s.to_p50_s},
                                         {"from_p90_s", s.from_p90_s},
                                         {"to_p90_s", s.to_p90_s},
                                         {"length_p50_s", s.length_p50_s},
                                         {"length_p90_s", s.length_p90_s},
                                         {"story", s.story}});
    }
    return {{"cuts", m.cuts},
            {"states", m.states},
            {"judged", m.met},
            {"supplies", m.supplies},
            {"boot_order_known", m.boot_order_known},
            {"no_way_back_p50_s", m.no_way_back_p50_s},
            {"no_way_back_p90_s", m.no_way_back_p90_s},
            {"no_net_p50_s", m.no_net_p50_s},
            {"no_net_p90_s", m.no_net_p90_s},
            {"stretches", std::move(stretches)},
            {"moments", std::move(moments)}};
}

json::array releases_json(const route::RouteAnswer& a) {
    json::array out;
    for (const auto& r : a.releases) {
        out.push_back(json::object{{"release", r.release},
                                   {"on_shelf", r.on_shelf},
                                   {"reachable", r.reachable},
                                   {"verdict", std::string(code(r.fits_now.verdict()))},
                                   {"reasons", reasons_as_json(r.fits_now.reasons)}});
    }
    return out;
}

json::object route_json(const route::Route& r) {
    json::array releases;
    for (const auto& s : r.steps) releases.emplace_back(s.release);
    return {{"releases", std::move(releases)},
            {"irreversible", r.irreversible},
            {"no_way_back_p90_s", r.no_way_back_p90_s},
            {"p90_s", r.p90_s},
            {"why", r.why}};
}

}  // namespace

boost::json::object plan_as_json(const Plan& p) {
    json::array steps;
    for (const auto& s : p.steps) {
        steps.push_back(json::object{{"release", s.release.release},
                                     {"one_way_door", s.one_way_door},
                                     {"stepping_stone", s.stepping_stone},
                                     {"cards", s.cards == 0 ? json::value(nullptr) : json::value(s.cards)},
                                     {"before", set_as_json(s.before)},
                                     {"after", set_as_json(s.after)},
                                     {"sheet", sheet_json(s.sheet)},
                                     {"forecast", forecast_json(s.forecast)},
                                     {"map", map_json(s.map)}});
    }
    json::array cures;
    for (const auto& c : p.cures) {
        cures.push_back(json::object{{"release", c.release}, {"text", c.text}, {"words", texts_as_json(c.words)}});
    }
    json::array others;
    for (const auto& r : p.route.others) others.push_back(route_json(r));
    json::object out{{"family", p.family},
                     {"family_digest", p.family_digest},
                     {"from", p.from},
                     {"to", p.to},
                     {"set", set_as_json(p.set)},
                     {"as_found_origin", json::string(code(p.as_found.origin))},
                     {"as_found_pieces", p.as_found.pieces.size()},
                     {"nothing_to_do", p.nothing_to_do},
                     {"complaint", p.complaint},
                     {"cures", std::move(cures)},
                     {"total", quantiles(p.total)},
                     {"handling", handling_json(usual_handling(), p.steps.size())},
                     {"steps", std::move(steps)},
                     {"other_routes", std::move(others)},
                     {"releases", releases_json(p.route)},
                     {"against", texts_as_json(p.route.against)},
                     {"against_together", p.route.against_together},
                     {"would_open", texts_as_json(p.route.would_open)}};
    out["route"] = p.route.recommended ? json::value(route_json(*p.route.recommended)) : json::value(nullptr);
    return out;
}

}  // namespace fettle::show
