#include "fettle/show/where.h"

#include "fettle/base/clock.h"
#include "fettle/base/json.h"

namespace fettle::show {
namespace {

json::array hands_json(const std::vector<watch::HandsWindow>& hands) {
    json::array out;
    for (const watch::HandsWindow& h : hands)
        out.push_back({{"act", h.act},
                       {"control", h.control},
                       {"from_s", h.from_s},
                       {"to_s", h.to_s},
                       {"now", h.now},
                       {"wake", h.wake},
                       {"call", h.call},
                       {"p_within", h.p_within}});
    return out;
}

json::object worry_json(const watch::Worry& worry) {
    json::array parts;
    for (const watch::WorryPart& p : worry.parts)
        parts.push_back({{"words", p.words}, {"good", p.good}, {"stuck", p.stuck}, {"rests_on", p.rests_on.words()}});
    json::object out{{"prior", worry.prior},
                     {"prior_rests_on", worry.prior_rests_on.words()},
                     {"low", worry.low()},
                     {"high", worry.high()},
                     {"parts", std::move(parts)}};
    if (worry.joint) out["joint"] = *worry.joint;
    return out;
}

json::object work_json(const watch::Work& w) {
    return {{"act", w.act},
            {"done", w.done},
            {"pieces", w.pieces},
            {"seconds", w.seconds},
            {"rate_bytes_s", w.rate_bytes_s},
            {"overhead_s", w.overhead_s},
            {"total_s", w.total_s},
            {"left_s", w.left_s}};
}

json::object times_json(const book::RunTimes& t) {
    json::object out;
    if (t.doubt != "clock") out["seconds"] = t.seconds;
    if (!t.doubt.empty()) out["doubt"] = t.doubt;
    if (t.promised_p90_s > 0) {
        out["promised_p50_s"] = t.promised_p50_s;
        out["promised_p90_s"] = t.promised_p90_s;
        out["kept"] = t.kept;
    }
    return out;
}

}  // namespace

json::object where_as_json(const watch::Where& w, const book::Run& run) {
    json::array odds, power, proposals;
    for (const watch::Odds& o : w.odds) odds.push_back({{"act", o.act}, {"p", o.p}});
    for (cutmap::Outcome o : w.if_power_went) power.push_back(json::string(cutmap::code(o)));
    for (const watch::Proposal& p : w.proposals)
        proposals.push_back({{"at_s", p.at_s}, {"from_A", p.from_A}, {"to_A", p.to_A}, {"event", p.event}});
    json::object out;
    out["release"] = run.release;
    out["started"] = iso8601(run.started);
    out["against_halt"] = run.against_halt;
    out["standing"] = json::string(watch::words(w.standing));
    out["act"] = w.act;
    out["by_mark"] = w.by_mark;
    out["odds"] = std::move(odds);
    out["elapsed_s"] = w.elapsed_s;
    if (w.in_act_s) out["in_act_s"] = *w.in_act_s;
    out["restarts_seen"] = w.restarts_seen;
    out["restarts_in_script"] = w.restarts_in_script;
    out["awaited"] = w.awaited;
    out["as_slow"] = w.as_slow;
    out["wait_until_s"] = w.wait_until_s;
    out["end_in_p50_s"] = w.end_p50_s;
    out["end_in_p90_s"] = w.end_p90_s;
    out["hands"] = hands_json(w.hands);
    out["next_act"] = w.next_act;
    out["if_power_went"] = std::move(power);
    out["if_power_went_words"] = w.if_power_went_words;
    out["rests_on"] = w.rests_on;
    out["stuck"] = w.stuck;
    out["astray"] = w.astray;
    if (w.worry.any()) out["worry"] = worry_json(w.worry);
    out["likely_stuck"] = w.likely_stuck;
    out["to_be_woken"] = w.to_be_woken;
    out["restart_loop"] = w.restart_loop;
    out["stands"] = w.stands;
    if (w.work) out["work"] = work_json(*w.work);
    out["proposals"] = std::move(proposals);
    out["settle_left_s"] = w.settle_left_s;
    out["safe_to_remove"] = w.safe_to_remove;
    out["end_in_doubt"] = w.end_in_doubt;
    if (run.times) out["times"] = times_json(*run.times);
    return out;
}

}  // namespace fettle::show
