// What may be tried, and what is held back. Each attempt stands on the draws of the run that fit what the box does now:
// how often it helps, and what a further cut during it could lead to. None is offered whose worst outcome is worse than
// what can be the case already; what is held back says why. Order: most likely to help first, then quickest.
#include "fettle/mend/attempts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <tuple>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"

namespace fettle::mend {
namespace {

using cutmap::Outcome;

constexpr const char* kSayFirst =
    "first say whether it was without power: while it is fed it may be at work, and nobody takes a card out or puts "
    "one in";

constexpr const char* kShowFirst = "first say what it shows or does now: what helps in one case harms in another";

struct Rule {  // of the family, or the usual one
    int most = 2;
    std::string words, who = "the technician";
    double wait_s = 0;
    std::vector<std::string> writes;
    bool in_file = false;
};

Rule rule_of(const family::Family& family, MendKind kind) {
    for (const family::MendWay& m : family.mend)
        if (m.kind == code(kind))
            return {m.most, m.words, m.who.empty() ? "the technician" : m.who, m.wait_s, m.writes, true};
    return {};
}

int done_of(const Question& q, MendKind kind) {
    return static_cast<int>(
        std::count_if(q.tried.begin(), q.tried.end(), [&](const Tried& t) { return t.kind == kind; }));
}

double quantile(std::vector<double> v, double p) {
    if (v.empty()) return 0;
    std::sort(v.begin(), v.end());
    return v[static_cast<std::size_t>(p * static_cast<double>(v.size() - 1))];
}

class Offers {
public:
    Offers(const Case& c, Answer& a) : c_(c), q_(c.q), a_(a) {
        for (const Weighed::Draw& d : c.weighed.draws) {
            if (!remains(d.moment)) continue;
            left_.push_back(d.left_s);
            whole_.push_back(d.whole_s);
            left_of_act_.push_back(d.left_of_act_s);
        }
    }

    void all() {
        if (std::any_of(q_.tried.begin(), q_.tried.end(), [](const Tried& t) { return t.came == Came::worse; })) {
            for (MendKind kind : {MendKind::wait, MendKind::same_card, MendKind::laid_again_card})
                hold(kind, "an attempt has made it worse: nothing more is tried here");
            return hand_over();
        }
        wait();
        power_off_and_on();
        same_card();
        recovery_card();
        laid_again();
        in_order();
        hand_over();
    }

    void hand_over() {
        Attempt t;
        t.kind = MendKind::hand_over;
        t.who = "a repair shop equipped for it";
        std::vector<std::string> ways;
        for (const family::BenchRepair& b : q_.family.bench) ways.push_back(b.words);
        t.words = ways.empty() ? "hand it over to the maker, or to a repair shop with the maker's papers"
                               : "hand it over: " + join(ways, "; ");
        t.stop = "nothing more is tried here";
        a_.attempts.push_back(std::move(t));
    }

private:
    // What goes on by itself is let go on before anybody touches it; then by how often it helps, then by minutes, then
    // as they were offered.
    void in_order() {
        const bool waits = q_.found.now == Now::goes_on || q_.found.power == Power::kept;
        std::vector<std::size_t> order(a_.attempts.size());
        for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
        const auto rank = [&](std::size_t i) {
            const Attempt& t = a_.attempts[i];
            return std::tuple(waits && t.kind == MendKind::wait ? 0 : 1, std::lround(1000 * (1 - t.helps.low)),
                              std::lround(t.p50_s / 60), i);
        };
        std::sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) { return rank(x) < rank(y); });
        std::vector<Attempt> sorted;
        for (const std::size_t i : order) sorted.push_back(std::move(a_.attempts[i]));
        a_.attempts = std::move(sorted);
    }

    bool remains(std::size_t moment) const {
        return std::any_of(c_.remaining.begin(), c_.remaining.end(),
                           [&](const Remaining& r) { return r.moment == moment; });
    }
    void hold(MendKind kind, std::string why) {
        Withheld& w = a_.withheld.emplace_back();
        w.kind = kind;
        w.why = std::move(why);
    }
    void ask_first(MendKind kind, const char* what) {
        hold(kind, what);
        a_.withheld.back().wants_answer = true;
    }

    // Chance over what remains that every outcome (low) or some outcome (high) of the moment passes.
    template <class Is>
    Chance chance(Is is) const {
        Chance out;
        for (const Remaining& r : c_.remaining) {
            const auto n = static_cast<std::size_t>(std::count_if(r.outcomes.begin(), r.outcomes.end(), is));
            if (n == r.outcomes.size()) out.low += r.weight;
            if (n > 0) out.high += r.weight;
        }
        out.low = std::min(out.low, 1.0);
        out.high = std::min(out.high, 1.0);
        return out;
    }

    bool used_up(MendKind kind, const Rule& rule) {
        if (done_of(q_, kind) < rule.most) return false;
        hold(kind, rule.most == 0 ? std::string("the family file rules it out")
                                  : fmt::format("tried {} of at most {} times", done_of(q_, kind), rule.most));
        return true;
    }
    Attempt made(MendKind kind, const Rule& rule) const {
        Attempt t;
        t.kind = kind;
        t.words = rule.words;
        t.who = rule.who;
        t.most = rule.most;
        t.done = done_of(q_, kind);
        return t;
    }

    void wait() {
        const Rule rule = rule_of(q_.family, MendKind::wait);
        const bool fed = q_.found.power == Power::kept, goes_on = q_.found.now == Now::goes_on;
        const bool may_go_on = chance([](Outcome o) { return o == Outcome::goes_on_by_itself; }).high > 0;
        if (q_.seen.ended || (!fed && !goes_on && !(may_go_on && q_.found.now == Now::not_said))) return;
        if (!fed && !goes_on) return ask_first(MendKind::wait, q_.found.power == Power::lost ? kShowFirst : kSayFirst);
        if (!goes_on && used_up(MendKind::wait, rule)) return;
        Attempt t = made(MendKind::wait, rule);
        const std::vector<double>& left = fed ? left_of_act_ : left_;
        t.p50_s = std::max(rule.wait_s, quantile(left, 0.5));
        t.p90_s = std::max(rule.wait_s, quantile(left, 0.99));
        if (t.words.empty()) t.words = "keep it fed and touch nothing";
        t.stop = fmt::format("when {} have passed without a new sign", human_duration(std::max(60.0, t.p90_s)));
        if (fed)
            t.helps = {1 - q_.stuck_high.value_or(1), 1 - q_.stuck_low.value_or(0)};
        else if (goes_on)
            t.helps = {1, 1};
        else
            t.helps = chance([](Outcome o) { return o == Outcome::goes_on_by_itself; });
        a_.attempts.push_back(std::move(t));
    }

    // While it is fed, taking its power is a cut at the place where it hangs: only where the map has every such cut end
    // no worse than "the same card takes it up".
    void power_off_and_on() {
        if (q_.found.power != Power::kept || q_.seen.ended) return;
        if (q_.found.now == Now::starts || q_.found.now == Now::recovery)
            return hold(MendKind::power_off_and_on, "it comes up by itself: that it is fed is not what it lacks");
        if (q_.found.now == Now::not_said) return ask_first(MendKind::power_off_and_on, kShowFirst);
        if (!c_.by_map)
            return hold(MendKind::power_off_and_on,
                        "the boot order is not known, so every write counts as if it had no way back");
        Outcome worst = Outcome::nothing_changed;
        std::string where;
        for (const Remaining& r : c_.possible) {
            const Outcome o = cutmap::worst(r.outcomes);
            if (cutmap::badness(o) <= cutmap::badness(worst)) continue;
            worst = o;
            where = words_of(r.moment);
        }
        if (cutmap::badness(worst) > cutmap::badness(Outcome::rests_unfinished))
            return hold(MendKind::power_off_and_on,
                        fmt::format("a cut while it {} leads to \"{}\" (power-cut map)", where, cutmap::words(worst)));
        Rule rule = rule_of(q_.family, MendKind::power_off_and_on);
        rule.most = 1;
        if (used_up(MendKind::power_off_and_on, rule)) return;
        Attempt t = made(MendKind::power_off_and_on, rule);
        t.words = "take its power for a minute and give it back, card in; only after the wait is over";
        t.stop = "after once";
        t.helps = chance(can_go_on);
        t.p50_s = quantile(left_, 0.5);
        t.p90_s = quantile(left_, 0.9);
        a_.attempts.push_back(std::move(t));
    }

    // A further cut is judged by the map with two: nothing that could end worse than that place does now is offered
    // while the supply may fail again.
    bool too_risky(MendKind kind, std::string& risk) {
        Outcome worst = Outcome::nothing_changed;
        for (const Remaining& r : c_.possible) {
            const cutmap::Moment& m = q_.map.moments[r.moment];
            if (m.two_cuts.empty()) continue;
            const Outcome o = cutmap::worst(m.two_cuts);
            if (cutmap::badness(o) > cutmap::badness(cutmap::worst(r.outcomes)) && cutmap::no_way_back(o) &&
                cutmap::badness(o) > cutmap::badness(worst))
                worst = o;
        }
        if (worst == Outcome::nothing_changed) return false;
        risk = fmt::format("if power went once more: \"{}\" (power-cut map, two cuts)", cutmap::words(worst));
        if (!c_.supply_failed) return false;
        hold(kind, fmt::format("power went once, and {}: first a supply that holds", risk));
        a_.withheld.back().wants_supply = true;
        return true;
    }

    void same_card() {
        const Rule rule = rule_of(q_.family, MendKind::same_card);
        if (!may_use_card(MendKind::same_card)) return;
        std::string risk;
        if (too_risky(MendKind::same_card, risk) || used_up(MendKind::same_card, rule)) return;
        Attempt t = made(MendKind::same_card, rule);
        t.writes = still_written();
        if (t.words.empty()) t.words = "the same card in, and start the update as it was started";
        t.risk = risk;
        times(t);
        a_.attempts.push_back(std::move(t));
    }

    void laid_again() {
        const Rule rule = rule_of(q_.family, MendKind::laid_again_card);
        if (done_of(q_, MendKind::same_card) == 0 && !q_.seen.refused) return;  // the same one first
        if (!may_use_card(MendKind::laid_again_card)) return;
        std::string risk;
        if (too_risky(MendKind::laid_again_card, risk) || used_up(MendKind::laid_again_card, rule)) return;
        Attempt t = made(MendKind::laid_again_card, rule);
        t.writes = still_written();
        if (t.words.empty())
            t.words = "lay the same release again on another card, audit it, and start the update with it";
        t.risk = risk;
        times(t);
        a_.attempts.push_back(std::move(t));
    }

    // The family's own card for this: only where every place that remains lies in a region that it writes and the box
    // starts without it. Elsewhere it would write over a region that is whole, which is the net.
    void recovery_card() {
        const Rule rule = rule_of(q_.family, MendKind::recovery_card);
        if (!rule.in_file || q_.seen.ended) return;
        if (q_.found.power == Power::not_said) return ask_first(MendKind::recovery_card, kSayFirst);
        if (q_.found.power == Power::kept && !restarted_by_itself(q_))
            return hold(MendKind::recovery_card, "it is still fed and may be at work");
        if (q_.found.now == Now::not_said) return ask_first(MendKind::recovery_card, kShowFirst);
        if (!c_.by_map) return hold(MendKind::recovery_card, "the boot order is not known");
        const bool fits =
            !c_.remaining.empty() && std::all_of(c_.possible.begin(), c_.possible.end(), [&](const Remaining& r) {
                const family::Act* act = q_.family.act(q_.map.moments[r.moment].act);
                const std::string region = act ? act->box + "." + act->region : "";
                return std::find(rule.writes.begin(), rule.writes.end(), region) != rule.writes.end() &&
                       r.outcomes == cutmap::Outcomes{Outcome::starts_no_net};
            });
        if (!fits)
            return hold(MendKind::recovery_card,
                        fmt::format("it writes {}, which may be whole: writing it would take the net away",
                                    join(rule.writes, ", ")));
        if (used_up(MendKind::recovery_card, rule)) return;
        Attempt t = made(MendKind::recovery_card, rule);
        t.writes = rule.writes;
        t.helps = chance([](Outcome o) { return o == Outcome::starts_no_net; });
        t.helps.low = 0;  // it makes the net whole; the update itself is still to be finished
        t.stop = "when its leaflet says that it is done, or shows anything that the leaflet does not";
        t.p50_s = quantile(left_, 0.5);
        t.p90_s = quantile(left_, 0.9);
        a_.attempts.push_back(std::move(t));
    }

    bool may_use_card(MendKind kind) {
        if (q_.found.power == Power::not_said && !q_.seen.ended) {
            ask_first(kind, kSayFirst);
            return false;
        }
        if (q_.found.power == Power::kept && !restarted_by_itself(q_) && !q_.seen.ended) {
            hold(kind, "it is still fed and may be at work: nobody takes a card out or puts one in now");
            return false;
        }
        if (q_.found.now == Now::not_said && !q_.seen.ended) {
            ask_first(kind, kShowFirst);
            return false;
        }
        if (q_.found.now == Now::dark) {
            hold(kind, "it does not start, so it reads no card");
            return false;
        }
        if (!c_.by_map) {
            if (q_.found.now == Now::recovery || q_.found.now == Now::starts || q_.seen.ended) return true;
            hold(kind, "the boot order is not known: only when it starts, or asks for the card itself");
            return false;
        }
        if (q_.seen.ended) return true;
        const Chance good = chance(can_go_on);
        if (good.high > 0) return true;
        if (c_.remaining.empty()) {
            hold(kind, "nothing on the map fits what the box does");
            return false;
        }
        hold(kind, "by the map it does not start, so it reads no card");
        return false;
    }

    void times(Attempt& t) const {
        const bool whole = std::any_of(q_.family.boot.begin(), q_.family.boot.end(), [](const family::BootRule& r) {
            return r.goes_on != "not at all" && r.from == "start" && r.whole_new_cells != "kept";
        });
        const std::vector<double>& s = whole || q_.seen.ended ? whole_ : left_;
        t.p50_s = quantile(s, 0.5);
        t.p90_s = quantile(s, 0.9);
        t.helps = q_.seen.ended || !c_.by_map ? Chance{0, 1} : chance(can_go_on);
        t.stop = fmt::format(
            "when it has shown nothing new for {}, or at once when it shows something that the family "
            "file does not know",
            human_duration(std::max(60.0, longest_dark_s(q_.family, q_.forecast))));
    }

    // Regions that a run taken up again still writes, by the least advanced place that remains.
    std::vector<std::string> still_written() const {
        std::size_t first = q_.family.script.size();
        for (const Remaining& r : c_.remaining)
            for (std::size_t k = 0; k < q_.family.script.size(); ++k)
                if (q_.family.script[k].id == q_.map.moments[r.moment].act) first = std::min(first, k);
        if (q_.seen.ended || c_.remaining.empty()) first = 0;
        const bool rewrites = std::any_of(q_.family.boot.begin(), q_.family.boot.end(), [](const family::BootRule& r) {
            return r.goes_on != "not at all" && r.from == "start" && r.whole_new_cells != "kept";
        });
        if (rewrites) first = 0;
        std::vector<std::string> out;
        for (std::size_t k = first; k < q_.family.script.size(); ++k) {
            const family::Act& act = q_.family.script[k];
            if (forecast::lines_of(q_.family, q_.sheet, act).empty()) continue;
            const std::string region = act.box + "." + act.region;
            if (std::find(out.begin(), out.end(), region) == out.end()) out.push_back(region);
        }
        return out;
    }

    std::string words_of(std::size_t moment) const {
        const family::Act* act = q_.family.act(q_.map.moments[moment].act);
        return act ? act->words : q_.map.moments[moment].act;
    }

    const Case& c_;
    const Question& q_;
    Answer& a_;
    std::vector<double> left_, whole_, left_of_act_;
};

}  // namespace

bool can_go_on(Outcome o) {
    return !cutmap::no_way_back(o);
}

void offer_attempts(const Case& c, Answer& answer) {
    Offers(c, answer).all();
}

void offer_hand_over(const Case& c, Answer& answer) {
    Offers(c, answer).hand_over();
}

}  // namespace fettle::mend
