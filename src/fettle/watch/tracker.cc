#include "fettle/watch/tracker.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "fettle/base/text.h"
#include "fettle/watch/align.h"
#include "fettle/watch/paths.h"
#include "fettle/watch/positions.h"

namespace fettle::watch {
namespace {

using family::ActKind;

constexpr double kLikely = 0.05;   // a position this likely counts for "if power went now"
constexpr double kSlow = 0.10;     // one good run in ten is this slow: said
constexpr double kOverdue = 0.01;  // one in a hundred: look into it

// A sign that a person can see: the beginning of act `at` (== acts: the end of the last).
struct Sign {
    std::size_t at = 0;
    std::string words;
};

class Tracker {
public:
    Tracker(const Step& step, const Observed& seen, UnixMs now)
        : step_(step), seen_(seen), now_(std::max(now, seen.started)), positions_(step) {
        for (const family::Act& a : step.family.script) acts_.push_back(&a);
    }

    Where run() {
        w_.elapsed_s = static_cast<double>(now_ - seen_.started) / 1000;
        for (const family::Act* a : acts_) w_.restarts_in_script += a->kind == ActKind::restart;
        if (acts_.empty() || step_.forecast.states.empty()) {
            no_script();
        } else {
            with_script();
        }
        texts();
        tally();
        if (seen_.against_halt)
            say("begun-against-halt", Verdict::halt, "this run was begun against a halt of the ready check", "journal");
        return std::move(w_);
    }

private:
    void say(std::string code, Verdict v, std::string text, std::string rests) {
        w_.judgement.add({std::move(code), v, std::move(text), w_.act, std::move(rests)});
    }

    // Nothing is known of the script: what was seen is kept, and nothing is promised.
    void no_script() {
        for (const Mark& m : seen_.marks) {
            if (!m.undone && m.event == "ended") w_.standing = Standing::ended;
        }
        w_.if_power_went_words = "can't say";
        w_.rests_on = "nothing: the step script is not known";
        w_.sentence = w_.standing == Standing::ended
                          ? "It said that it is done."
                          : fmt::format("Running for {}; can't say where it is: the step script is not known.",
                                        human_duration(w_.elapsed_s));
        say("script-not-known", Verdict::cant_say, "the family file has no step script, so nothing is promised",
            "family file");
    }

    void with_script() {
        std::vector<std::string> ids;
        for (const family::Act* a : acts_) ids.push_back(a->id);
        paths_.emplace(step_.forecast, ids);
        marks_ = align(acts_, seen_, now_, [&](std::size_t a, std::size_t b) { return paths_->earliest(a, b); });
        w_.restarts_seen = marks_.restarts_seen;
        if (!marks_.anchors.empty()) {
            anchor_ = marks_.anchors.back().act;
            anchor_s_ = marks_.anchors.back().at_s;
            anchored_ = true;
        }
        since_s_ = std::max(0.0, w_.elapsed_s - anchor_s_);
        kept_ = paths_->nearest(anchor_, anchor_s_);
        notes();
        if (marks_.ended) {
            ended();
        } else if (marks_.astray) {
            astray();
        } else {
            running();
        }
        timeline();
        rests_on();
    }

    void notes() {
        if (marks_.odd_times > 0)
            say("clock-jumped", Verdict::mind,
                fmt::format("{} of the marks lie before the start or after now; the clock was changed, or another "
                            "machine's clock differs",
                            marks_.odd_times),
                "marks");
        for (const std::string& e : marks_.odd_events)
            say("mark-unknown", Verdict::mind,
                fmt::format("\"{}\" is no event of this family; it is kept and not used", printable(e)), "marks");
        if (w_.restarts_seen > w_.restarts_in_script)
            say("more-restarts-than-script", Verdict::cant_say,
                fmt::format("it restarted {} times, the script has {}", w_.restarts_seen, w_.restarts_in_script),
                "marks");
    }

    void ended() {
        w_.standing = Standing::ended;
        w_.act = acts_.back()->id;
        w_.by_mark = true;
        w_.odds = {{w_.act, 1.0}};
        w_.in_act_s = std::max(0.0, w_.elapsed_s - marks_.ended_s);
        w_.as_slow = 1;
        const double settle = std::max(0.0, step_.family.settle_s - *w_.in_act_s);
        w_.sentence = settle > 0 ? fmt::format("It said that it is done; leave everything as it is for another {}.",
                                               human_duration(settle))
                                 : "It said that it is done, and the settling time has passed.";
        power({acts_.back()->id});
    }

    void astray() {
        w_.standing = Standing::astray;
        w_.sentence = fmt::format("Astray: {}.", marks_.why);
        say("astray", Verdict::cant_say, marks_.why, "marks");
        at_worst("can't say");
        const double left = std::max(0.0, quantile(totals(), 0.99) - w_.elapsed_s);
        w_.wait_until_s = left;
    }

    std::vector<double> totals() const {
        std::vector<double> t;
        for (std::size_t p : kept_) t.push_back(paths_->total(p));
        return t;
    }

    Sign next_sign() const {
        if (!anchored_) return {acts_.size(), "the end"};
        for (std::size_t i = anchor_; i < acts_.size(); ++i) {
            const family::Act& a = *acts_[i];
            if (i > anchor_) {
                if (a.dark) return {i, "the screen goes dark"};
                if (a.kind == ActKind::ask) return {i, "it " + a.words};
                if (a.kind == ActKind::end) return {i, "it says that it is done"};
            }
            const bool last_dark = a.dark && (i + 1 == acts_.size() || !acts_[i + 1]->dark);
            if (last_dark) return {i + 1, "the screen comes back"};
            if (a.kind == ActKind::ask) return {i + 1, "the ask is answered"};
        }
        return {acts_.size(), "the end"};
    }

    void running() {
        const Sign sign = next_sign();
        w_.awaited = sign.words;
        std::vector<double> waits;
        for (std::size_t p : kept_) waits.push_back(paths_->begins(p, sign.at) - paths_->begins(p, anchor_));
        const auto slower = std::count_if(waits.begin(), waits.end(), [&](double s) { return s > since_s_; });
        w_.as_slow = static_cast<double>(slower) / static_cast<double>(waits.size());
        w_.wait_until_s = std::max(0.0, quantile(waits, 0.99) - since_s_);
        place(sign);
        hands(sign);
        pace(sign);
        sentence();
    }

    // Paths that agree with what was seen. Whoever marks is taken to mark the next sign too, so a path on which it has
    // come already is left out; without any mark every path counts.
    void place(const Sign& sign) {
        for (std::size_t p : kept_) {
            const double x = paths_->begins(p, anchor_) + since_s_;
            if (!anchored_ || paths_->begins(p, sign.at) > x) agreeing_.push_back({p, x});
        }
        overdue_ = agreeing_.empty();
        if (overdue_) {  // it has not come in any good run: as if it came now
            for (std::size_t p : kept_) agreeing_.push_back({p, paths_->begins(p, sign.at)});
        }
        std::map<std::size_t, int> count;
        std::map<const cutmap::Moment*, int> moments;
        int off_map = 0;
        std::vector<double> left;
        for (const auto& [p, x] : agreeing_) {
            const std::size_t act = overdue_ ? sign.at - 1 : act_at(p, x);
            ++count[act];
            left.push_back(std::max(0.0, paths_->total(p) - x));
            const double lasts = paths_->begins(p, act + 1) - paths_->begins(p, act);
            const double share = lasts > 0 ? (x - paths_->begins(p, act)) / lasts : 0;
            const cutmap::Moment* m = positions_.moment(acts_[act]->id, share);
            m ? ++moments[m] : ++off_map;
        }
        const double n = static_cast<double>(agreeing_.size());
        for (const auto& [act, c] : count) {
            if (c / n >= 0.01) w_.odds.push_back({acts_[act]->id, c / n});
        }
        std::sort(w_.odds.begin(), w_.odds.end(),
                  [](const Odds& a, const Odds& b) { return a.p != b.p ? a.p > b.p : a.act < b.act; });
        settle_on_act();
        w_.end_p50_s = quantile(left, 0.5);
        w_.end_p90_s = quantile(left, 0.9);
        if (overdue_) {
            std::vector<std::string> between;
            for (std::size_t i = anchor_; i < std::min(sign.at, acts_.size()); ++i) between.push_back(acts_[i]->id);
            power(between);
        } else if (off_map > 0) {
            power({});
        } else if (!anchored_ && w_.as_slow < kSlow) {  // it should be done, and nobody has seen that it is
            at_worst("can't say by elapsed time alone");
        } else {
            for (const auto& [m, c] : moments) {
                if (c / n >= kLikely) w_.if_power_went.insert(m->outcomes.begin(), m->outcomes.end());
            }
            power(unanswered());
        }
        upcoming();
    }

    std::size_t act_at(std::size_t p, double x) const {
        for (std::size_t i = acts_.size(); i-- > anchor_;) {
            if (paths_->begins(p, i) <= x) return i;
        }
        return anchor_;
    }

    void settle_on_act() {
        if (w_.odds.empty()) return;
        w_.act = w_.odds.front().act;
        w_.by_mark = anchored_ && w_.act == acts_[anchor_]->id;
        if (w_.by_mark) w_.in_act_s = since_s_;
        act_ = static_cast<std::size_t>(
            std::find_if(acts_.begin(), acts_.end(), [&](auto* a) { return a->id == w_.act; }) - acts_.begin());
    }

    // Without a mark: asks that may have come by now, for each waits until somebody answers.
    std::vector<std::string> unanswered() const {
        std::vector<std::string> out;
        for (std::size_t i = 0; !anchored_ && i < acts_.size(); ++i) {
            if (acts_[i]->kind != ActKind::ask) continue;
            const auto come = std::count_if(agreeing_.begin(), agreeing_.end(),
                                            [&](const auto& px) { return paths_->begins(px.first, i) <= px.second; });
            if (static_cast<double>(come) >= kLikely * static_cast<double>(agreeing_.size()))
                out.push_back(acts_[i]->id);
        }
        return out;
    }

    void power(const std::vector<std::string>& acts) {
        const cutmap::Outcomes more = positions_.over_acts(acts);
        w_.if_power_went.insert(more.begin(), more.end());
        power_sentence();
    }

    void at_worst(const char* because) {
        std::vector<std::string> all;
        for (const family::Act* a : acts_) all.push_back(a->id);
        w_.if_power_went = positions_.over_acts(all);
        w_.if_power_went_words = because;
        if (!w_.if_power_went.empty())
            w_.if_power_went_words += "; at worst " + power_words({cutmap::worst(w_.if_power_went)});
        w_.if_power_went_words += "; keep it fed";
    }

    void power_sentence() {
        w_.if_power_went_words = power_words(w_.if_power_went);
        if (!step_.map.boot_order_known) w_.if_power_went_words = "can't say, the boot order is not known; keep it fed";
        for (cutmap::Outcome o : w_.if_power_went) {
            if (!cutmap::no_way_back(o)) continue;
            say("no-way-back-now", Verdict::mind, "a power cut now may leave no way back: do not switch anything off",
                "family file");
            break;
        }
    }

    // The next act that a person would notice as another one.
    void upcoming() {
        for (std::size_t i = act_ + 1; i < acts_.size(); ++i) {
            const family::Act& a = *acts_[i];
            if (a.kind == ActKind::set) continue;
            w_.next_act = a.id;
            w_.next_words = a.words;
            w_.next_in_p50_s = median_until(i);
            return;
        }
    }

    double median_until(std::size_t act) const {
        std::vector<double> t;
        for (const auto& [p, x] : agreeing_) t.push_back(std::max(0.0, paths_->begins(p, act) - x));
        return quantile(std::move(t), 0.5);
    }

    void hands(const Sign& sign) {
        for (std::size_t i = anchor_; i < acts_.size(); ++i) {
            const family::Act& a = *acts_[i];
            const bool ask = a.kind == ActKind::ask;
            if (!ask && (a.wake.empty() || !seen_.on_bench)) continue;
            HandsWindow h{a.id, a.words, ask ? a.control : a.wake, a.shows, 0, 0, false, !ask};
            std::vector<double> t;
            for (const auto& [p, x] : agreeing_) t.push_back(paths_->begins(p, i) - x);
            h.from_s = std::max(0.0, quantile(t, 0.1));
            h.to_s = std::max(0.0, quantile(t, 0.9));
            const auto begun = std::count_if(t.begin(), t.end(), [](double s) { return s <= 0; });
            const bool marked = anchored_ && i == anchor_;
            h.now = marked || (!anchored_ && static_cast<double>(begun) >= 0.8 * static_cast<double>(t.size())) ||
                    (overdue_ && i == sign.at);
            if (h.now) h.from_s = h.to_s = 0;
            w_.hands.push_back(std::move(h));
        }
        for (const HandsWindow& h : w_.hands) {
            if (h.now)
                say("hands-now", Verdict::mind,
                    h.wake ? fmt::format("feed now: {}", h.control)
                           : fmt::format("hands are needed now: it {}{}", h.words,
                                         h.control.empty() ? "" : " (" + h.control + ")"),
                    anchored_ ? "marks" : "elapsed time alone");
        }
    }

    void pace(const Sign& sign) {
        w_.pace = slow_words(w_.as_slow);
        const std::string rests = step_.forecast.rests_on;
        // Whoever has to answer sets that pace, not the unit.
        if (anchored_ && acts_[anchor_]->kind == ActKind::ask && sign.at == anchor_ + 1) return;
        if (w_.as_slow < kOverdue) {
            say("overdue", Verdict::cant_say,
                fmt::format("\"{}\" has not been marked, and {}; look at the unit, mark what it shows, keep it fed",
                            sign.words, w_.pace),
                rests);
        } else if (w_.as_slow < kSlow) {
            say("slow-here", Verdict::mind, fmt::format("{} is late: {}", sign.words, w_.pace), rests);
        }
        if (!anchored_ && w_.elapsed_s > 0)
            say("no-marks-yet", Verdict::mind, "nothing was marked yet: this goes by elapsed time alone",
                "elapsed time");
    }

    static std::string span(double from_s, double to_s) {
        const auto a = std::llround(from_s / 60), b = std::llround(to_s / 60);
        if (b < 1) return "within a minute";
        return a == b ? fmt::format("in about {} min", b) : fmt::format("in {} to {} min", a, b);
    }

    void sentence() {
        const bool sure = w_.by_mark || (!w_.odds.empty() && w_.odds.front().p >= 0.9);
        std::string s;
        if (overdue_) {
            s = anchored_ ? fmt::format("Overdue, not seen yet: {}", w_.awaited)
                          : "By elapsed time alone it should have ended";
            w_.sentence = s + "; look at the unit and mark what it shows.";
            return;
        }
        s = w_.act == acts_.back()->id ? "By elapsed time alone it should have ended"
            : sure                     ? "It " + acts_[act_]->words
                                       : "It probably " + acts_[act_]->words;
        if (!anchored_ && w_.act != acts_.back()->id) s += " (by elapsed time alone)";
        const HandsWindow* hand = w_.hands.empty() ? nullptr : &w_.hands.front();
        if (hand && hand->now) {
            s += hand->wake  ? "; feed it now: " + hand->control
                 : anchored_ ? "; hands are needed now"
                             : "; hands may be needed now: look";
        } else if (hand) {
            s += fmt::format("; hands {}", span(hand->from_s, hand->to_s));
        } else if (!w_.next_words.empty()) {
            s += fmt::format("; next it {}", w_.next_words);
        }
        w_.sentence = s + fmt::format("; done {}.", span(w_.end_p50_s, w_.end_p90_s));
    }

    void timeline() {
        w_.begins_s.assign(acts_.size() + 1, 0);
        w_.begin_marked.assign(acts_.size() + 1, false);
        const auto median = [&](std::size_t act) {
            std::vector<double> t;
            for (std::size_t p : kept_) t.push_back(paths_->begins(p, act));
            return quantile(std::move(t), 0.5);
        };
        std::vector<double> typical;
        for (std::size_t i = 0; i <= acts_.size(); ++i) typical.push_back(median(i));
        std::vector<Anchor> fixed{{0, 0, ""}};
        for (const Anchor& a : marks_.anchors) {
            w_.begin_marked[a.act] = true;
            if (a.act > fixed.back().act && a.at_s >= fixed.back().at_s) fixed.push_back(a);
        }
        for (std::size_t k = 0; k + 1 < fixed.size(); ++k) {
            const double span_s = typical[fixed[k + 1].act] - typical[fixed[k].act];
            for (std::size_t i = fixed[k].act; i <= fixed[k + 1].act; ++i) {
                const double share = span_s > 0 ? (typical[i] - typical[fixed[k].act]) / span_s : 0;
                w_.begins_s[i] = fixed[k].at_s + share * (fixed[k + 1].at_s - fixed[k].at_s);
            }
            w_.begins_s[fixed[k + 1].act] = fixed[k + 1].at_s;
        }
        for (std::size_t i = fixed.back().act; i <= acts_.size(); ++i) {
            w_.begins_s[i] = fixed.back().at_s + typical[i] - typical[fixed.back().act];
            if (i > act_ && w_.standing == Standing::running && i > fixed.back().act)
                w_.begins_s[i] = w_.elapsed_s + median_until(i);
        }
        for (std::size_t i = 1; i <= acts_.size(); ++i) w_.begins_s[i] = std::max(w_.begins_s[i], w_.begins_s[i - 1]);
    }

    void rests_on() {
        std::set<std::string> sources;
        std::size_t used = 0;
        for (const Mark& m : seen_.marks) {
            if (m.undone) continue;
            ++used;
            sources.insert(m.source);
        }
        w_.rests_on = used == 0 ? "elapsed time alone"
                                : fmt::format("{} {} ({})", used, used == 1 ? "mark" : "marks",
                                              join({sources.begin(), sources.end()}, ", "));
        w_.rests_on += "; durations: " + (step_.forecast.rests_on.empty() ? "family file" : step_.forecast.rests_on);
        if (step_.sheet.rests_on == change::Origin::inferred) w_.rests_on += "; as-found list inferred";
    }

    // A later text or mark takes a text off the screen; that a piece was refused stays true.
    bool still_shown(const ShownText& t) const {
        return std::none_of(seen_.shown.begin(), seen_.shown.end(),
                            [&](const ShownText& other) { return other.at > t.at; }) &&
               std::none_of(seen_.marks.begin(), seen_.marks.end(),
                            [&](const Mark& m) { return !m.undone && m.at > t.at; });
    }

    void texts() {
        for (const ShownText& t : seen_.shown) {
            const TextMeaning m = meaning_of(step_.family, t.text);
            if (!m.refused_piece && !still_shown(t)) continue;
            const std::string text = printable(t.text);
            if (!m.known) {
                say("text-unknown", Verdict::cant_say,
                    fmt::format("the box shows \"{}\", which the family file does not know; {}", text,
                                w_.wait_until_s > 0 ? fmt::format("wait {} before anything else is done",
                                                                  human_duration(w_.wait_until_s))
                                                    : "keep it fed and ask the maker"),
                    "typed");
            } else if (m.refused_piece) {
                say("piece-refused", Verdict::cant_say, fmt::format("\"{}\": {}; next: {}", text, m.meaning, m.next),
                    m.sure);
            } else {
                say("text-known", m.sure == "guess" ? Verdict::mind : Verdict::fit,
                    fmt::format("\"{}\": {}; next: {}", text, m.meaning, m.next), m.sure);
            }
        }
    }

    void tally() {
        if (const auto b = check_tally(step_.family, step_.sheet.tally, seen_.tally))
            say("tally-breaks", Verdict::cant_say,
                fmt::format("reading {} of the tally cannot be right: {}", b->reading + 1, b->why), "typed");
        for (const TallyReading& r : seen_.tally) {
            if (r.refused.value_or(0) <= step_.sheet.tally.refused.high) continue;
            say("piece-refused", Verdict::cant_say,
                fmt::format("the tally shows {} refused, {} expected", *r.refused, step_.sheet.tally.refused.expected),
                "typed");
            break;
        }
    }

    const Step& step_;
    const Observed& seen_;
    UnixMs now_;
    Positions positions_;
    std::vector<const family::Act*> acts_;
    std::optional<Paths> paths_;
    Alignment marks_;
    std::size_t anchor_ = 0, act_ = 0;
    double anchor_s_ = 0, since_s_ = 0;
    bool anchored_ = false, overdue_ = false;
    std::vector<std::size_t> kept_;
    std::vector<std::pair<std::size_t, double>> agreeing_;  // path and its time now
    Where w_;
};

}  // namespace

std::string_view words(Standing s) {
    switch (s) {
        case Standing::running: return "running";
        case Standing::ended: return "ended";
        case Standing::astray: return "astray";
    }
    return "running";
}

std::vector<std::string> events(const family::Family& family) {
    std::vector<std::string> out = {"dark", "back", "restarted", "asks", "answered", "skipped", "ended"};
    for (const family::Act& a : family.script) {
        if (std::find(out.begin(), out.end(), a.id) == out.end()) out.push_back(a.id);
    }
    return out;
}

bool is_event(const family::Family& family, std::string_view event) {
    const auto all = events(family);
    return std::find(all.begin(), all.end(), event) != all.end();
}

Where track(const Step& step, const Observed& seen, UnixMs now) {
    return Tracker(step, seen, now).run();
}

std::string slow_words(double share) {
    if (share >= 0.995) return "every good run takes this long here";
    // 750 draws stand behind a share: none of them is at most 1 in 250 at 95 % (rule of three).
    if (share < 0.004) return "fewer than 1 in 250 good runs are this slow here";
    // Small whole numbers that a person can picture: 2 in 3 rather than 0.66.
    if (share > 0.9) return "nearly every good run takes this long here";
    if (share > 0.5) {
        const auto n = static_cast<int>(std::lround(1 / (1 - share)));
        return fmt::format("{} in {} good runs are this slow here", n - 1, n);
    }
    auto n = static_cast<int>(std::lround(1 / share));
    if (n > 20) n = (n + 5) / 10 * 10;
    return fmt::format("1 in {} good runs are this slow here", n);
}

TextMeaning meaning_of(const family::Family& family, std::string_view text) {
    for (const family::Message& m : family.messages) {
        if (m.text == text) return {true, m.meaning, m.next, m.sure, m.refused_piece};
    }
    for (const family::Act& a : family.script) {
        if (!a.shows.empty() && a.shows == text) return {true, "it " + a.words, "nothing to do", "family file", false};
    }
    return {};
}

}  // namespace fettle::watch
