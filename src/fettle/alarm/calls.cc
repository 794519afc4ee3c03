#include "fettle/alarm/calls.h"

#include <fmt/format.h>

namespace fettle::alarm {
namespace {

struct Due {
    std::string key, words;
    bool loud = false;
};

std::vector<Due> all_due(const watch::Where& w) {
    std::vector<Due> out;
    if (w.state != RunState::open || w.standing == watch::Standing::ended) return out;
    for (const watch::HandsWindow& h : w.hands) {
        if (!h.call) continue;
        const std::string what = h.wake ? "feed " + h.control : "it " + h.words;
        out.push_back(
            {(h.wake ? "woken:" : "hands:") + h.act,
             h.now ? (h.wake ? fmt::format("Feed {} now.", h.control) : fmt::format("Hands are needed now: {}.", what))
                   : fmt::format("Go to the box: hands within minutes, {}.", what),
             h.now});
    }
    if (w.restart_loop) out.push_back({"loop", "It restarts again and again. Keep it fed and go to the box.", true});
    if (w.standing == watch::Standing::astray)
        out.push_back({"astray", "It does not follow the script. Go to the box.", true});
    if (w.likely_stuck) out.push_back({"stuck", "It is likely stuck. Keep it fed and go to the box.", true});
    return out;
}

}  // namespace

double until_next_rung(int rung) {
    return rung == 0 ? 60 : rung == 1 ? 120 : 240;
}

std::optional<Call> call_due(const watch::Where& where, const CallsMade& made, UnixMs now) {
    for (const Due& d : all_due(where)) {
        const auto it = made.find(d.key);
        if (it == made.end()) return Call{d.key, 0, false, d.words};
        const double since_s = static_cast<double>(now - it->second.at) / 1000;
        // A clock that was set back must not silence the ladder.
        const bool time = since_s >= until_next_rung(it->second.rung) || since_s < -60;
        // Called ahead of time, and now it is due: at once the second rung.
        const bool now_due = d.loud && it->second.rung == 0 && since_s >= 20;
        if (d.loud && (time || now_due)) return Call{d.key, it->second.rung + 1, true, d.words};
    }
    return std::nullopt;
}

}  // namespace fettle::alarm
