// For tests: everything that an answer of the watch says, as text, every figure to its last bit.
#pragma once

#include <fmt/format.h>

#include <string>

#include "fettle/watch/tracker.h"

namespace fettle::watch {

inline std::string all_of(const Where& w) {
    std::string out;
    const auto line = [&](const char* name, const auto&... values) {
        out += name;
        ((out += fmt::format(" {}", values)), ...);
        out += '\n';
    };
    const auto bits = [](double v) { return fmt::format("{:a}", v); };
    line("state", static_cast<int>(w.state), static_cast<int>(w.standing), w.act, w.by_mark, w.sentence);
    for (const Odds& o : w.odds) line("odds", o.act, bits(o.p));
    line("stuck", bits(w.stuck), bits(w.astray), bits(w.elapsed_s), w.in_act_s ? bits(*w.in_act_s) : "-");
    line("restarts", w.restarts_seen, w.restarts_in_script, w.restart_loop);
    line("awaited", w.awaited, bits(w.as_slow), bits(w.wait_until_s), w.pace);
    line("end", bits(w.end_p50_s), bits(w.end_p90_s), bits(w.settle_left_s), w.safe_to_remove);
    for (const HandsWindow& h : w.hands) {
        line("hands", h.act, h.words, h.control, h.shows, bits(h.from_s), bits(h.to_s), h.now, h.wake, h.call,
             bits(h.p_within));
        for (double s : h.draws_s) out += bits(s) + " ";
    }
    line("next", w.next_act, w.next_words, bits(w.next_in_p50_s));
    for (cutmap::Outcome o : w.if_power_went) line("power", cutmap::code(o));
    line("power", w.if_power_went_words);
    for (const Reason& r : w.judgement.reasons)
        line("reason", r.code, static_cast<int>(r.verdict), r.text, r.where, r.rests_on.words());
    line("rests on", w.rests_on);
    line("worry", bits(w.worry.prior), w.worry.prior_rests_on.words(), bits(w.worry.dependent),
         bits(w.worry.independent), w.worry.joint ? bits(*w.worry.joint) : "-", w.likely_stuck, w.to_be_woken);
    for (const WorryPart& p : w.worry.parts) line("part", p.words, bits(p.good), bits(p.stuck), p.rests_on.words());
    if (w.work)
        line("work", w.work->act, w.work->done, w.work->pieces, bits(w.work->seconds), bits(w.work->rate_bytes_s),
             bits(w.work->overhead_s), bits(w.work->total_s), bits(w.work->left_s), w.work->rests_on);
    for (const Proposal& p : w.proposals) line("proposal", bits(p.at_s), bits(p.from_A), bits(p.to_A), p.event);
    for (std::size_t i = 0; i < w.begins_s.size(); ++i)
        line("begins", bits(w.begins_s[i]), static_cast<bool>(w.begin_marked[i]));
    return out;
}

}  // namespace fettle::watch
