// From what the filter holds to what a person is told: where the run is, what comes next and when, how late it is.
// Every number here is read off the filter and the draws of what is to come; nothing is estimated a second time.
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

// A run that says that it is done before any good run can be, or without having written anything, has not done what it
// was begun for.
void judge_end(Track& t) {
    Where& w = t.w;
    const auto& planned = t.step().sheet.tally.landed;
    const auto last = std::max_element(t.seen.tally.begin(), t.seen.tally.end(),
                                       [](const auto& a, const auto& b) { return a.at < b.at; });
    const bool none = planned.expected > 0 && last != t.seen.tally.end() && last->landed && *last->landed == 0;
    const bool nothing = none && planned.low > 0;
    const double earliest_s = t.basis.earliest_s(0, t.script().size() - 1);
    const bool early = !t.seen.continued && !t.seen.clock_unsure && t.marks.ended_s < earliest_s;
    if (t.marks.stopped) {
        w.end_in_doubt = true;
        t.say("ended-unanswered", Verdict::halt,
              fmt::format("it {}, nobody answered, and then it stops: that it is done cannot be; look at what it shows",
                          t.script()[*t.marks.stopped].words),
              "marks and family file");
    }
    const bool to_come = last != t.seen.tally.end() && last->to_come.value_or(0) > 0;
    if (to_come)
        t.say("ended-with-pieces-to-come", Verdict::halt,
              fmt::format("it is marked as ended and counts {} pieces as still to come: look at what it shows",
                          *last->to_come),
              "tally");
    w.end_in_doubt = w.end_in_doubt || to_come || none;
    if (none && !nothing)
        t.say("ended-nothing-written", Verdict::cant_say,
              "it says that it is done and counts no piece as landed: all of them were there before, or nothing was "
              "written; look at what it shows",
              "tally");
    if (!early && !nothing) return;
    w.end_in_doubt = true;
    if (nothing)
        t.say("ended-nothing-written", Verdict::halt,
              fmt::format("it says that it is done and counts no piece as landed; {} were to land: look at what it "
                          "shows",
                          planned.expected),
              "tally");
    else
        t.say("ended-too-early", Verdict::halt,
              fmt::format("it is marked as ended after {}, and no good run ends before {}: look at what it shows",
                          human_duration(t.marks.ended_s), human_duration(earliest_s)),
              "marks; " + t.step().forecast.rests_on.words());
}

void ended(Track& t) {
    Where& w = t.w;
    w.standing = Standing::ended;
    w.act = t.script().back().id;
    w.by_mark = true;
    w.odds = {{w.act, 1.0, true}};
    w.in_act_s = std::max(0.0, w.elapsed_s - t.marks.ended_s);
    w.settle_left_s = std::max(0.0, t.step().family.settle_s - *w.in_act_s);
    judge_end(t);
    w.safe_to_remove = w.settle_left_s <= 0 && !w.end_in_doubt;
    w.as_slow = 1;
    power_at_end(t);
}

// Nobody answered, and then it stops: it does no more until somebody acts.
void stands(Track& t) {
    Where& w = t.w;
    const family::Act& ask = t.script()[*t.marks.stopped];
    w.stands = true;
    w.act = ask.id;
    w.by_mark = true;
    w.odds = {{w.act, 1.0, true}};
    w.in_act_s = std::max(0.0, w.elapsed_s - t.marks.stopped_s);
    w.as_slow = 1;
    w.hands.push_back({ask.id, ask.words, ask.control, ask.shows, 0, 0, true, false, true, 1, {}});
    power_in_act(t, ask.id);
    t.say(
        "ask-stopped", Verdict::cant_say,
        fmt::format("it {}, and nobody answered: by its script it stops then, so it is not done; if somebody answered "
                    "after all, mark answered",
                    ask.words),
        "marks and family file");
}

// By what was marked nothing is left to come, and nobody has seen it say so.
void should_be_done(Track& t) {
    Where& w = t.w;
    const Anchor& end = t.marks.anchors.back();
    w.act = t.script()[end.act].id;
    w.by_mark = true;
    w.odds = {{w.act, 1.0, true}};
    w.in_act_s = std::max(0.0, w.elapsed_s - end.at_s);
    w.as_slow = 1;
    power_in_act(t, w.act);
    t.say("end-not-said", Verdict::mind, "it should be done, and nobody has marked that it says so", "marks");
}

void astray(Track& t) {
    t.w.standing = Standing::astray;
    t.w.astray = t.follower->astray();
    t.w.stuck = t.follower->stuck();
    t.w.odds = {{"astray", t.w.astray, false}};
    if (t.marks.why.empty()) t.marks.why = "what was seen does not follow the script";
    t.w.judgement.add({"astray", Verdict::cant_say, t.marks.why, t.w.act, "marks",
                       Next{"if the last mark was wrong, take it back: ", propose(Act::mark, {flag("undo")})}});
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
    t.marks = align(t.script(), t.seen, t.now, [&](std::size_t from, std::size_t to) {
        return t.seen.continued ? 0 : t.basis.earliest_s(from, to);
    });
    if (t.seen.continued)
        t.say_while_open(
            "continued-run", Verdict::mind,
            "this run goes on from one that broke off: its times are those of a whole run at most, so go by "
            "what it shows",
            "journal");
    t.w.restarts_seen = t.marks.restarts_seen;
    judge_marks(t);
    if (t.marks.ended) {
        ended(t);
    } else if (t.marks.stopped && !t.seen.clock_unsure) {
        stands(t);
    } else if (t.end_not_said() && !t.seen.clock_unsure) {
        should_be_done(t);
    } else if (t.seen.clock_unsure || t.follower->astray() >= 0.5) {
        if (t.seen.clock_unsure) t.marks.why = "the clock was set meanwhile, so by time nothing can be said";
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
