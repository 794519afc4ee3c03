// From what the filter holds to what a person is told: where the run is, what comes next and when, how late it is. Every
// number here is read off the filter and the draws of what is to come; nothing is estimated a second time.
#include "fettle/watch/tracker.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/watch/track.h"

namespace fettle::watch {
namespace {

using family::ActKind;

std::string sign_words(const Track& t, std::size_t k) {
    const auto& c = t.model->chain();
    if (!t.follower->anchored()) return "the end";
    if (k > 0 && c[k - 1].dark && !c[k].dark) return "the screen comes back";
    if (c[k].end) return "it says that it is done";
    if (c[k].dark) return "the screen goes dark";
    if (k > 0 && t.act(k - 1).kind == ActKind::ask) return "the ask is answered";
    return "it " + t.act(k).words;
}

void place(Track& t) {
    const auto& chain = t.model->chain();
    const Follower& f = *t.follower;
    Where& w = t.w;
    w.stuck = f.stuck();
    w.astray = f.astray();
    double best = -1;
    for (std::size_t k = 0; k < chain.size(); ++k) {
        const double p = f.in(k);
        if (p >= 0.01) w.odds.push_back({t.act(k).id, p, true});
        if (p + f.stuck_in(k) > best) best = p + f.stuck_in(k), t.k = k;
    }
    if (w.stuck >= 0.01) w.odds.push_back({"stuck", w.stuck, false});
    if (w.astray >= 0.01) w.odds.push_back({"astray", w.astray, false});
    std::sort(w.odds.begin(), w.odds.end(),
              [](const Odds& a, const Odds& b) { return a.p != b.p ? a.p > b.p : a.act < b.act; });
    w.act = t.act(t.k).id;
    if (!t.marks.anchors.empty()) {
        const Anchor& last = t.marks.anchors.back();
        w.by_mark = t.model->chain_from(last.act) == t.k;
        if (w.by_mark) w.in_act_s = std::max(0.0, w.elapsed_s - last.at_s);
        t.waits_for_hand = w.by_mark && t.act(t.k).kind == ActKind::ask;
    }
    const double since_s = std::max(0.0, w.elapsed_s - f.anchor_s());
    w.awaited = sign_words(t, f.awaited());
    w.as_slow = t.waiting->longer_than(since_s);
    w.wait_until_s = std::max(0.0, t.waiting->longest_s() - since_s);
    t.overdue = f.anchored() && w.as_slow < kNeverSo && !t.waits_for_hand;
    const std::span<const double> end = t.future->begins(chain.size() - 1);
    w.end_p50_s = quantile(end, 0.5);
    w.end_p90_s = quantile(end, 0.9);
    for (std::size_t k = t.k + 1; k < chain.size(); ++k) {
        w.next_act = t.act(k).id;
        w.next_words = t.act(k).words;
        w.next_in_p50_s = quantile(t.future->begins(k), 0.5);
        break;
    }
}

void ended(Track& t) {
    Where& w = t.w;
    w.standing = Standing::ended;
    w.act = t.script().back().id;
    w.by_mark = true;
    w.odds = {{w.act, 1.0, true}};
    w.in_act_s = std::max(0.0, w.elapsed_s - t.marks.ended_s);
    w.settle_left_s = std::max(0.0, t.step().family.settle_s - *w.in_act_s);
    w.safe_to_remove = w.settle_left_s <= 0;
    w.as_slow = 1;
    power_at_end(t);
}

void astray(Track& t) {
    t.w.standing = Standing::astray;
    t.w.astray = t.follower->astray();
    t.w.stuck = t.follower->stuck();
    t.w.odds = {{"astray", t.w.astray, false}};
    if (t.marks.why.empty()) t.marks.why = "what was seen does not follow the script";
    t.say("astray", Verdict::cant_say, t.marks.why, "marks");
    power_at_worst(t, "can't say");
    double total_s = 0;
    for (std::size_t k = 0; k < t.model->chain().size(); ++k) total_s += t.model->seconds(k, 8, 1.5);
    t.w.wait_until_s = std::max(0.0, total_s - t.w.elapsed_s);
}

// It stands as it was then; what a run that goes on would ask for, nobody is asked for.
void broken_off(Track& t) {
    Where& w = t.w;
    w.standing = Standing::astray;
    const family::Act* act = t.step().family.act(w.act);
    w.sentence = act ? "Broken off; at its last moment it " + act->words + "."
                     : std::string("Broken off; what it was doing then can't be said.");
    w.hands.clear();
    w.end_p50_s = w.end_p90_s = 0;
    w.safe_to_remove = false;
}

void with_script(Track& t) {
    t.marks = align(t.script(), t.seen, t.now,
                    [&](std::size_t from, std::size_t to) { return t.basis.earliest_s(from, to); });
    t.w.restarts_seen = t.marks.restarts_seen;
    judge_marks(t);
    if (t.marks.ended) {
        ended(t);
    } else if (t.follower->astray() >= 0.5) {
        astray(t);
    } else {
        place(t);
        t.w.work = work_of(t);
        power_now(t);
        waking(t);
        hands(t);
        judge_stuck(t);
        judge_pace(t);
    }
    sentence(t);
    timeline(t);
    rests_on(t);
}

// Nothing is known of the script: what was seen is kept, changes of the current are offered as marks, and nothing is
// promised.
void without_script(Track& t) {
    Where& w = t.w;
    for (const Mark& m : t.seen.marks) {
        if (!says_ended(m)) continue;
        w.standing = Standing::ended;
        w.in_act_s = std::max(0.0, static_cast<double>(t.now - m.at) / 1000);
        w.settle_left_s = std::max(0.0, t.step().family.settle_s - *w.in_act_s);
    }
    w.if_power_went_words = t.step().map.boot_order_known ? "can't say; keep it fed"
                                                          : "can't say, the boot order is not known; keep it fed";
    if (w.standing == Standing::running)
        t.say_while_open("no-way-back-now", Verdict::mind,
                         "a power cut now may leave no way back, as far as anybody knows: do not switch anything off",
                         "family file");
    w.rests_on =
        t.amps.empty() ? "nothing: the step script is not known" : "the supply current; the step script is not known";
    w.sentence = w.standing == Standing::ended
                     ? "It said that it is done."
                     : fmt::format("Running for {}; can't say where it is: the step script is not known.",
                                   human_duration(w.elapsed_s));
    t.say("script-not-known", Verdict::cant_say, "the family file has no step script, so nothing is promised",
          "family file");
}

// Changes of the current beside which nothing was marked.
void proposals(Track& t) {
    for (const ChangePoint& c : *t.steps) {
        const bool marked = std::any_of(t.seen.marks.begin(), t.seen.marks.end(), [&](const Mark& m) {
            return !m.undone && std::abs(static_cast<double>(m.at - t.seen.started) / 1000 - c.at_s) <= 20;
        });
        if (marked || std::abs(c.after - c.before) < 0.25 * std::max(c.before, c.after)) continue;
        t.w.proposals.push_back({c.at_s, c.before, c.after, c.after < c.before ? "dark" : "back"});
    }
    if (t.w.proposals.empty() || t.model) return;
    const Proposal& p = t.w.proposals.back();
    t.say("change-unmarked", Verdict::mind,
          fmt::format("the current went from {:.1f} to {:.1f} A at {}; if the screen went {} then, mark it: {}",
                      p.from_A, p.to_A, human_duration(p.at_s), p.to_A < p.from_A ? "dark" : "on again", p.event),
          "supply current");
}

}  // namespace

std::string_view words(Standing s) {
    switch (s) {
        case Standing::running: return "running";
        case Standing::ended: return "ended";
        case Standing::astray: return "astray";
    }
    return "running";
}

void judge(Track& t) {
    if (t.model)
        with_script(t);
    else
        without_script(t);
    proposals(t);
    judge_texts(t);
    judge_tally(t);
    if (t.seen.against_halt)
        t.say("begun-against-halt", Verdict::halt, "this run was begun against a halt of the ready check", "journal");
    if (t.broken_off()) broken_off(t);
}

}  // namespace fettle::watch
