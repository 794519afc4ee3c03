#include "fettle/mend/mend.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/mend/attempts.h"

namespace fettle::mend {
namespace {

using cutmap::Outcome;
using cutmap::Outcomes;

// Does some boot rule of this mode go on so?
bool has_rule(const family::Family& f, std::string_view mode, std::string_view goes_on) {
    return std::any_of(f.boot.begin(), f.boot.end(),
                       [&](const family::BootRule& r) { return r.mode == mode && r.goes_on == goes_on; });
}

// Outcomes of a cut that what the box does now leaves possible; nullopt: all.
std::optional<Outcomes> allowed(const Question& q) {
    if (q.found.power != Power::lost && !restarted_by_itself(q)) return std::nullopt;
    Outcomes out;
    const family::Family& f = q.family;
    switch (q.found.now) {
        case Now::not_said:
            out = {Outcome::nothing_changed, Outcome::goes_on_by_itself, Outcome::same_card, Outcome::rests_unfinished,
                   Outcome::starts_no_net,   Outcome::bench_repair,      Outcome::lost,      Outcome::done};
            break;
        case Now::starts:
            out = {Outcome::nothing_changed, Outcome::rests_unfinished, Outcome::starts_no_net, Outcome::done};
            if (has_rule(f, "normal", "with the card")) out.insert(Outcome::same_card);
            if (has_rule(f, "normal", "by itself")) out.insert(Outcome::goes_on_by_itself);
            break;
        case Now::recovery:
            if (has_rule(f, "recovery", "with the card")) out.insert(Outcome::same_card);
            if (has_rule(f, "recovery", "by itself")) out.insert(Outcome::goes_on_by_itself);
            if (has_rule(f, "recovery", "not at all"))
                out.insert({Outcome::rests_unfinished, Outcome::starts_no_net, Outcome::nothing_changed});
            break;
        case Now::goes_on: out = {Outcome::goes_on_by_itself, Outcome::same_card}; break;
        case Now::dark: out = {Outcome::bench_repair, Outcome::lost}; break;
    }
    if (!q.found.release.empty() && q.sheet.from != q.sheet.to) {
        if (q.found.release == q.sheet.to) out.erase(Outcome::nothing_changed);
        if (q.found.release == q.sheet.from) out.erase(Outcome::done);
    }
    return out;
}

std::string in_100(const Chance& c) {
    const auto words = [](double p) {
        if (p >= 0.995) return std::string("over 99 in 100");
        if (p > 0 && p < 0.005) return std::string("fewer than 1 in 100");
        return fmt::format("{:.0f} in 100", 100 * p);
    };
    if (c.high - c.low < 0.005) return words(c.high);
    return fmt::format("{:.0f} to {:.0f} in 100", 100 * c.low, 100 * c.high);
}

class Mender {
public:
    explicit Mender(const Question& q) : q_(q), weighed_(weigh(q)), case_{q, weighed_, {}, {}, true, false} {}

    Answer run() {
        case_.by_map = q_.map.boot_order_known;
        case_.supply_failed = q_.found.power == Power::lost && !q_.found.supply_holds;
        if (q_.seen.ended && !q_.seen.refused) {
            after_end();
            return std::move(a_);
        }
        remain();
        places();
        outcomes();
        offer_attempts(case_, a_);
        before();
        look();
        last_words();
        return std::move(a_);
    }

private:
    void say(std::string code, Verdict v, std::string text, std::string where, std::string rests, Next next = {}) {
        a_.judgement.add({std::move(code), v, std::move(text), std::move(where), std::move(rests), std::move(next)});
    }

    // The map speaks of runs only. What the box does after it said that it was done is told apart, not computed.
    void after_end() {
        const Now now = q_.found.now;
        if (now == Now::not_said || now == Now::starts) {
            a_.nothing_to_mend = true;
            a_.sentence = "Nothing to mend: the box said that it was done. What it left is for the proof.";
            return;
        }
        const std::string does = now == Now::dark       ? "is dark"
                                 : now == Now::recovery ? "comes up in its recovery mode"
                                                        : "goes on with the update";
        a_.look = now == Now::goes_on ? "was its end marked too early? Keep it fed, and follow it"
                                      : "supply, fuse and connectors first; then hand it over";
        say("mend-after-end", Verdict::cant_say,
            "the box said that it was done, and now " + does +
                ": the power-cut map speaks of runs only, so what "
                "became of it can't be said",
            "mend", "told",
            now == Now::goes_on ? Next{"follow it: ", propose(Act::watch, {flag("start"), wanted("by", "NAME")})}
                                : Next());
        offer_hand_over(case_, a_);
        a_.who_goes_on = a_.attempts.back().words + " (" + a_.attempts.back().who + ")";
        a_.stop = now != Now::goes_on;
        a_.sentence = fmt::format("It said that it was done, and now {}. Look first: {}.", does, a_.look);
        a_.rests_on = "what it does now: told";
    }

    void remain() {
        const auto leaves = case_.by_map ? allowed(q_) : std::nullopt;
        double kept = 0;
        for (std::size_t m = 0; m < weighed_.weight.size(); ++m) {
            if (weighed_.weight[m] <= 0 && !weighed_.possible[m]) continue;
            Remaining r{m, weighed_.weight[m], q_.map.moments[m].outcomes};
            if (leaves) std::erase_if(r.outcomes, [&](Outcome o) { return !leaves->contains(o); });
            if (r.outcomes.empty()) continue;
            case_.possible.push_back(r);
            if (r.weight <= 0) continue;
            kept += r.weight;
            case_.remaining.push_back(std::move(r));
        }
        contradicted_ = kept <= 0;
        for (Remaining& r : case_.remaining) r.weight /= kept;
        if (contradicted_)
            say("mend-contradicted", Verdict::cant_say,
                "what the box does now is nothing that the power-cut map has for any place where the run can have been",
                "mend", "power-cut map");
        else if (kept < 0.05)
            say("mend-unlikely", Verdict::cant_say,
                fmt::format("what the box does now fits {} of the places where the run can have been: is a sign or a "
                            "time wrong?",
                            in_100({kept, kept})),
                "mend", "power-cut map, forecast");
        if (!case_.by_map)
            say("boot-order-unknown", Verdict::cant_say,
                "the boot order is not known: every write counts as if it had no way back", "mend", "family file");
    }

    void places() {
        std::vector<const Remaining*> order;
        for (const Remaining& r : case_.remaining) order.push_back(&r);
        std::sort(order.begin(), order.end(), [](auto* x, auto* y) {
            return x->weight != y->weight ? x->weight > y->weight : x->moment < y->moment;
        });
        double sum = 0;
        for (const Remaining* r : order) {
            if (sum >= 0.99 || a_.places.size() >= 60) break;
            sum += r->weight;
            const cutmap::Moment& m = q_.map.moments[r->moment];
            Place p;
            p.act = m.act;
            p.cell = m.cell;
            p.p = r->weight;
            p.outcomes = r->outcomes;
            if (const family::Act* act = q_.family.act(m.act)) {
                p.words = act->words;
                const auto lines = forecast::lines_of(q_.family, q_.sheet, *act);
                const family::Region* region = q_.family.region(act->box, act->region);
                if (m.cell >= 0 && region && region->written_as != "image" &&
                    static_cast<std::size_t>(m.cell) < lines.size())
                    p.piece = lines[static_cast<std::size_t>(m.cell)]->name;
            }
            a_.places.push_back(std::move(p));
        }
    }

    void outcomes() {
        for (const Remaining& r : case_.remaining)
            for (const Outcome o : r.outcomes) {
                Chance& c = a_.outcomes[o];
                c.high += r.weight;
                if (r.outcomes.size() == 1) c.low += r.weight;
            }
        for (auto& [o, c] : a_.outcomes) {
            c.low = std::min(c.low, 1.0);
            c.high = std::min(c.high, 1.0);
        }
        const auto certain = [&](Outcome o) {
            const auto c = a_.outcomes.find(o);
            return a_.outcomes.size() == 1 && c != a_.outcomes.end();
        };
        const bool power_went = q_.found.power == Power::lost || restarted_by_itself(q_);
        a_.no_net = power_went && certain(Outcome::starts_no_net);
        Chance none;
        for (const auto& [o, c] : a_.outcomes)
            if (cutmap::no_way_back(o)) none.high += c.high;
        for (const Remaining& r : case_.remaining)
            if (std::all_of(r.outcomes.begin(), r.outcomes.end(), [](Outcome o) { return cutmap::no_way_back(o); }))
                none.low += r.weight;
        none = {std::min(none.low, 1.0), std::min(none.high, 1.0)};
        if (!power_went || !case_.by_map) return;
        if (a_.no_net)
            say("mend-no-net", Verdict::halt,
                "starts, no net: a further mishap would be caught by nothing; no handover", "mend", "power-cut map");
        else if (a_.outcomes.contains(Outcome::starts_no_net))
            say("mend-perhaps-no-net", Verdict::cant_say,
                fmt::format("it may start without a net ({})", in_100(a_.outcomes[Outcome::starts_no_net])), "mend",
                "power-cut map");
        if (none.high > 0)
            say("mend-no-way-back", none.high >= 0.995 ? Verdict::halt : Verdict::cant_say,
                fmt::format("the start {} gone, and no attempt here brings it back ({})",
                            none.low >= 0.995 ? "is" : "may be", in_100(none)),
                "mend", "power-cut map");
    }

    void before() {
        const bool tries = a_.attempts.size() > 1;
        if (case_.supply_failed && (tries || waits_for_supply()))
            a_.before.push_back(
                "a supply that holds, checked at the box: power went once, and a second cut is another case");
        if (q_.found.power == Power::kept && !restarted_by_itself(q_))
            a_.before.push_back("do not switch anything off, and take no card out");
    }

    void look() {
        Next next;
        if (contradicted_) {
            a_.look = "are the last sign, its time and what the box does now as they were told? Put right what is not";
        } else if (q_.found.power == Power::not_said) {
            a_.look = "was it without power since the last sign?";
            next = {"say ", with(given("power", "lost")), " or ", with(given("power", "kept"))};
        } else if (comes_up_fed() && q_.found.release.empty()) {
            a_.look =
                "it was not without power and comes up: it has restarted by itself, is done, or works on unseen. What "
                "does its version view show?";
            next = {"say it: ", with(wanted("release", "R"))};
        } else if (comes_up_fed() && q_.found.release == q_.sheet.to) {
            a_.look = "it shows the release of this run: if it is done, mark its end and prove it; else keep it fed";
            next = {"mark its end: ", propose(Act::mark, {given("event", "ended")})};
        } else if (q_.found.power == Power::kept && q_.found.now == Now::not_said) {
            a_.look = "what does it show now, fed as it is?";
            next = {"say ", with(given("now", "starts")),
                    ", recovery, goes-on (also when its picture stands still) or dark"};
        } else if (q_.found.power == Power::lost && q_.found.now == Now::not_said) {
            a_.look = fmt::format("feed it from a supply that holds, card in, and say within {} what it does",
                                  human_duration(std::max(60.0, longest_dark_s(q_.family, q_.forecast))));
            next = {"say it: ", with(given("now", "starts")), ", recovery, goes-on or dark"};
        }
        if (a_.look.empty() && a_.attempts.size() == 1 && waits_for_supply()) {
            a_.look = "feed it from a supply that does not fail again";
            next = {"say so: ", with(given("supply", "holds"))};
        }
        if (const std::string& r = q_.found.release; !r.empty() && r != q_.sheet.from && r != q_.sheet.to)
            say("mend-release-odd", Verdict::cant_say,
                fmt::format("{} is neither what was installed ({}) nor what this run brings ({}): mistyped, or another "
                            "unit?",
                            printable(r), q_.sheet.from, q_.sheet.to),
                "mend", "typed");
        if (!a_.look.empty() && !contradicted_)
            say("mend-look", Verdict::cant_say, "look first: " + a_.look, "mend", "not said", std::move(next));
    }

    bool waits_for_supply() const {
        return std::any_of(a_.withheld.begin(), a_.withheld.end(), [](const Withheld& w) { return w.wants_supply; });
    }

    bool comes_up_fed() const {
        return q_.found.power == Power::kept && (q_.found.now == Now::starts || q_.found.now == Now::recovery);
    }

    void last_words() {
        const Attempt& first = a_.attempts.front();
        const bool asks = std::any_of(a_.withheld.begin(), a_.withheld.end(),
                                      [](const Withheld& w) { return w.wants_answer || w.wants_supply; });
        a_.stop = first.kind == MendKind::hand_over && !contradicted_ && q_.found.power != Power::not_said && !asks;
        a_.who_goes_on = a_.attempts.back().words + " (" + a_.attempts.back().who + ")";
        a_.stop_rule =
            "each attempt at most as often as it says; at once when one makes it worse, when it shows what the family "
            "file does not know, or when power fails again";
        a_.rests_on = fmt::format("{}; durations: {}; what a cut leaves: power-cut map{}",
                                  q_.seen.act.empty() ? "the start of the run" : "the sign \"" + q_.seen.act + "\"",
                                  q_.forecast.rests_on.empty() ? "family file" : q_.forecast.rests_on.words(),
                                  q_.found.now == Now::not_said ? "" : "; what it does now: told");
        if (a_.stop)
            say("mend-stop", Verdict::halt, "nothing is left that may be tried here: " + first.words, "mend",
                "power-cut map");
        std::string where;
        if (!a_.places.empty()) {
            double together = 0;
            for (const Remaining& r : case_.remaining)
                if (q_.map.moments[r.moment].act == a_.places.front().act) together += r.weight;
            const char* what = restarted_by_itself(q_)                               ? "It restarted by itself where it"
                               : comes_up_fed() || q_.found.power == Power::not_said ? "It can be where it"
                               : q_.found.power == Power::kept                       ? "It hangs while it"
                                                                                     : "It broke where it";
            where = fmt::format("{} {} ({}). ", what, a_.places.front().words, in_100({together, together}));
        }
        if (q_.seen.ended) where = "It ended with a piece refused. ";
        if (!a_.look.empty()) {
            a_.sentence = where + "Look first: " + a_.look + (a_.look.ends_with('?') ? "" : ".");
            return;
        }
        if (a_.stop) {
            a_.sentence = where + "Stop: " + first.words + ".";
            return;
        }
        a_.sentence =
            fmt::format("{}{}First: {}{}.", where, a_.no_net ? "It starts, no net. " : "", first.words,
                        first.kind == MendKind::wait   ? ""
                        : first.most - first.done == 1 ? ", at most once"
                                                       : fmt::format(", at most {} times", first.most - first.done));
        say("mend-attempt", Verdict::mind,
            fmt::format("{}; it can help in {}{}", first.words, in_100(first.helps),
                        first.risk.empty() ? "" : "; " + first.risk),
            std::string(code(first.kind)), "power-cut map, forecast");
    }

    const Question& q_;
    Weighed weighed_;
    Case case_;
    bool contradicted_ = false;
    Answer a_;
};

}  // namespace

std::string_view words(Power p) {
    return p == Power::lost ? "lost" : p == Power::kept ? "kept" : "";
}
std::string_view words(Now n) {
    switch (n) {
        case Now::not_said: return "";
        case Now::starts: return "starts";
        case Now::recovery: return "recovery";
        case Now::goes_on: return "goes-on";
        case Now::dark: return "dark";
    }
    return "";
}
std::optional<Power> power_named(std::string_view word) {
    for (const Power p : {Power::lost, Power::kept})
        if (words(p) == word) return p;
    return word.empty() ? std::optional(Power::not_said) : std::nullopt;
}
std::optional<Now> now_named(std::string_view word) {
    for (const Now n : {Now::starts, Now::recovery, Now::goes_on, Now::dark})
        if (words(n) == word) return n;
    return word.empty() ? std::optional(Now::not_said) : std::nullopt;
}

bool restarted_by_itself(const Question& q) {
    return q.found.power == Power::kept && (q.found.now == Now::starts || q.found.now == Now::recovery) &&
           !q.found.release.empty() && q.found.release != q.sheet.to;
}

Answer mend(const Question& q) {
    return Mender(q).run();
}

}  // namespace fettle::mend
