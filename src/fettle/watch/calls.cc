#include "fettle/watch/calls.h"

#include <fmt/format.h>

#include <cmath>

namespace fettle::watch {
namespace {

struct Due {
    std::string key, words;
    bool loud = false;
};

std::vector<Due> all_due(const Where& w) {
    std::vector<Due> out;
    if (w.standing == Standing::ended) return out;
    for (const HandsWindow& h : w.hands) {
        if (!h.call) continue;
        const std::string what = h.wake ? "feed " + h.control : "it " + h.words;
        out.push_back(
            {(h.wake ? "woken:" : "hands:") + h.act,
             h.now ? (h.wake ? fmt::format("Feed {} now.", h.control) : fmt::format("Hands are needed now: {}.", what))
                   : fmt::format("Go to the box: hands within minutes, {}.", what),
             h.now});
    }
    if (w.restart_loop) out.push_back({"loop", "It restarts again and again. Keep it fed and go to the box.", true});
    if (w.standing == Standing::astray)
        out.push_back({"astray", "It does not follow the script. Go to the box.", true});
    if (w.likely_stuck) out.push_back({"stuck", "It is likely stuck. Keep it fed and go to the box.", true});
    return out;
}

}  // namespace

double until_next_rung(int rung) {
    return rung == 0 ? 60 : rung == 1 ? 120 : 240;
}

std::optional<Call> call_due(const Where& where, const CallsMade& made, UnixMs now) {
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

bool Listener::hear(std::optional<long> beat, double now_s) {
    if (!begun_) {
        begun_ = true;
        since_s_ = heard_s_ = now_s;
    }
    if (beat && (!last_ || *beat != *last_)) {
        last_ = beat;
        heard_s_ = now_s;
    }
    return now_s - heard_s_ >= patience_s_;
}

double ClockJumps::jumped(UnixMs wall, double steady_s) {
    const double jump = static_cast<double>(wall - wall_) / 1000 - (steady_s - steady_s_);
    wall_ = wall;
    steady_s_ = steady_s;
    return std::abs(jump) > 5 ? jump : 0;
}

}  // namespace fettle::watch
