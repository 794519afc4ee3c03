#include "fettle/learn/learn.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/family/edit.h"
#include "fettle/family/level.h"
#include "fettle/learn/lines.h"
#include "fettle/watch/align.h"

namespace fettle::learn {
namespace {

using family::Act;
using family::ActKind;

constexpr std::size_t kMostMarks = 2000;  // a run has some tens
constexpr double kUnlike = 3;             // times longer, or shorter, than every other run: another thing happened

bool lasts(const Act& a) {
    return a.kind != ActKind::write && a.kind != ActKind::set && a.kind != ActKind::end;
}

std::string times_text(const family::Duration& d) {
    std::vector<std::string> seen;
    for (const double s : d.seen_s) seen.push_back(family::toml_number(s));
    std::string out = fmt::format("{{ median = {}, p90 = {}, source = {}", family::toml_number(d.median_s),
                                  family::toml_number(d.p90_s), family::toml_text(d.source.words()));
    if (!seen.empty()) out += fmt::format(", seen = [{}]", join(seen, ", "));
    return out + " }";
}

std::string current_text(const family::Current& c) {
    return fmt::format("{{ mean_A = {:.2f}, p99_A = {:.2f}, source = {} }}", c.mean_A, c.p99_A,
                       family::toml_text(c.source.words()));
}

class Learner {
public:
    Learner(const family::Family& f, std::string_view toml, const Seen& seen) : f_(f), toml_(toml), seen_(seen) {}

    Learnt run() {
        out_.seen_before = std::any_of(f_.watched.begin(), f_.watched.end(),
                                       [&](const family::WatchedRun& w) { return w.run == seen_.run; });
        if (f_.script.empty())
            write_script();
        else
            against_script();
        texts();
        tally();
        card();
        level();
        contradiction();
        never();
        for (Line& l : out_.lines) l.loosens = loosens(toml_, f_, l);
        return std::move(out_);
    }

private:
    void set(std::size_t act, const std::string& key, std::string before, std::string after, std::string rests_on) {
        Line l;
        l.key = fmt::format("act.{}.{}", f_.script[act].id, key);
        l.before = std::move(before);
        l.after = std::move(after);
        l.rests_on = std::move(rests_on);
        l.section = "act";
        l.item = static_cast<int>(act);
        l.edit_key = key;
        out_.lines.push_back(std::move(l));
    }

    void block(std::string key, std::string after, std::string rests_on, std::string text) {
        Line l;
        l.key = std::move(key);
        l.after = std::move(after);
        l.rests_on = std::move(rests_on);
        l.block = std::move(text);
        out_.lines.push_back(std::move(l));
    }

    void write_script() {
        const auto states = states_of(f_, seen_, out_.contradicts);
        for (State s : states) {
            if (!s.act.shows.empty()) of_acts_.insert(s.act.shows);
            std::string rests = "marks of this run", what = s.act.words;
            if (s.act.kind != ActKind::end) {
                const Times t = times_of({tenths(s.to_s - s.from_s)});
                s.act.seconds = family::Duration{t.median_s, t.p90_s, "measured 1", {tenths(s.to_s - s.from_s)}};
                s.act.current = current_in(seen_, s.from_s, s.to_s);
                rests = odds_of_longest(1);
                what += fmt::format(", {} s", family::toml_number(t.median_s));
                if (s.act.current) what += fmt::format(", {:.2f} A", s.act.current->mean_A);
                if (s.act.kind == ActKind::ask)
                    what += s.act.control.empty() ? ", control not marked" : ", " + s.act.control;
                if (!s.act.area.empty()) what += ", " + s.act.area;
            }
            block("act." + s.act.id, what, rests, act_block(s.act, rests));
        }
    }

    static double tenths(double s) { return std::round(s * 10) / 10; }

    // The marks in order, as far as the script does not contradict them; what does is named.
    watch::Alignment align() {
        watch::Observed seen = seen_.observed;
        const auto any = [](std::size_t, std::size_t) { return 0.0; };
        std::vector<watch::Mark> marks = in_order(seen.marks);
        if (marks.size() > kMostMarks) marks.resize(kMostMarks);
        seen.marks.clear();
        watch::Alignment good = watch::align(f_.script, seen, seen_.ended, any);
        for (const watch::Mark& m : marks) {
            seen.marks.push_back(m);
            watch::Alignment next = watch::align(f_.script, seen, seen_.ended, any);
            if (next.astray) {
                const double at = static_cast<double>(m.at - seen_.observed.started) / 1000;
                out_.contradicts.push_back(fmt::format("at {:.0f} s {}", at, next.why));
                return good;
            }
            good = std::move(next);
        }
        return good;
    }

    void against_script() {
        watch::Alignment found = align();
        std::vector<watch::Anchor> at = std::move(found.anchors);
        if (at.empty() || at.front().act != 0) at.insert(at.begin(), watch::Anchor{0, 0, "start"});
        for (std::size_t i = 0; i < at.size(); ++i) {
            const std::size_t k = at[i].act;
            const double until = i + 1 < at.size() ? at[i + 1].at_s : -1;
            if (i + 1 >= at.size()) continue;
            std::size_t next = k + 1;  // acts that take no time lie between
            while (next < at[i + 1].act && f_.script[next].kind == ActKind::set) ++next;
            if (at[i + 1].act != next) {
                if (at[i + 1].act > next)
                    out_.not_learnt.push_back(fmt::format("{} to {}: no sign between them, so their times are one",
                                                          f_.script[k].id, f_.script[at[i + 1].act - 1].id));
                continue;
            }
            if (!lasts(f_.script[k])) {
                if (f_.script[k].kind == ActKind::write)
                    out_.not_learnt.push_back(
                        fmt::format("{}: took {:.0f} s; the time of a write follows from its bytes "
                                    "and its region's rate",
                                    f_.script[k].id, until - at[i].at_s));
                continue;
            }
            seconds(k, tenths(until - at[i].at_s));
            current(k, at[i].at_s, until);
            if (f_.script[k].kind == ActKind::ask) ask(k, at[i].at_s, until);
        }
    }

    void seconds(std::size_t k, double took) {
        const Act& a = f_.script[k];
        if (took <= 0) return;
        if (!a.seconds) {
            const Times t = times_of({took});
            set(k, "seconds", "", times_text({t.median_s, t.p90_s, "measured 1", {took}}), odds_of_longest(1));
            return;
        }
        const family::Duration& d = *a.seconds;
        const auto same = [&](double s) { return std::abs(s - took) < 0.05; };
        if (out_.seen_before && std::any_of(d.seen_s.begin(), d.seen_s.end(), same)) return;
        const auto n = static_cast<std::size_t>(d.source.runs());
        const bool whole = n > 0 && d.seen_s.size() == n;  // every value behind the figure is there
        if (whole) {
            const auto [least, most] = std::minmax_element(d.seen_s.begin(), d.seen_s.end());
            if (took > kUnlike * *most || took < *least / kUnlike) {
                out_.contradicts.push_back(fmt::format("{} took {} s; the {} before it {} to {} s", a.id,
                                                       family::toml_number(took),
                                                       n == 1 ? "run" : fmt::format("{} runs", n),
                                                       family::toml_number(*least), family::toml_number(*most)));
                return;
            }
            std::vector<double> all = d.seen_s;
            all.push_back(took);
            const Times t = times_of(all);
            set(k, "seconds", times_text(d),
                times_text({t.median_s, t.p90_s, fmt::format("measured {}", all.size()), all}),
                odds_of_longest(all.size()));
            return;
        }
        if (took > kUnlike * d.p90_s || took < d.median_s / (kUnlike * kUnlike)) {
            out_.contradicts.push_back(fmt::format("{} took {} s; the file has {} (half) to {} s (nine in ten), {}",
                                                   a.id, family::toml_number(took), family::toml_number(d.median_s),
                                                   family::toml_number(d.p90_s), d.source.words()));
            return;
        }
        if (n > 0 || d.source.kind() == Basis::Kind::makers_paper) {
            out_.not_learnt.push_back(fmt::format(
                "{}: took {} s{}; the file's figure is {}, and the times behind it are not in it", a.id,
                family::toml_number(took), took > d.p90_s ? ", longer than its nine in ten" : "", d.source.words()));
            return;
        }
        const Times t = times_of({took});
        set(k, "seconds", times_text(d), times_text({t.median_s, t.p90_s, "measured 1", {took}}), odds_of_longest(1));
    }

    void current(std::size_t k, double from_s, double to_s) {
        const auto now = current_in(seen_, from_s, to_s);
        if (!now) return;
        const Act& a = f_.script[k];
        if (!a.current || a.current->source.is_guess() || a.current->source.kind() == Basis::Kind::common_practice) {
            set(k, "current", a.current ? current_text(*a.current) : "", current_text(*now), "measured 1");
            return;
        }
        const int n = a.current->source.runs();
        if (now->mean_A > kUnlike * a.current->p99_A) {
            out_.contradicts.push_back(fmt::format("{} drew {:.2f} A on average; the file has at most {:.2f} A, {}",
                                                   a.id, now->mean_A, a.current->p99_A, a.current->source.words()));
            return;
        }
        if (n == 0 || out_.seen_before) return;
        family::Current next = *a.current;
        next.mean_A = (next.mean_A * n + now->mean_A) / (n + 1);
        next.p99_A = std::max(next.p99_A, now->p99_A);
        next.source = Basis::measured(n + 1);
        set(k, "current", current_text(*a.current), current_text(next), next.source);
    }

    void ask(std::size_t k, double from_s, double to_s) {
        const Act& a = f_.script[k];
        const auto inside = [&](UnixMs at) {
            const double s = static_cast<double>(at - seen_.observed.started) / 1000;
            return s >= from_s - 1 && s <= to_s + 0.001;
        };
        for (const Seen::Reply& r : seen_.replies) {
            if (!inside(r.at) || r.how.empty() || r.how == "card") continue;
            const std::string control = r.how == "turn" || r.how == "press" ? "knob" : r.how;
            const std::string how = r.how == "touch" ? "press" : r.how;
            if (a.control.empty()) {
                set(k, "control", "", family::toml_text(control), "marked when it was answered");
                if (a.answers.empty())
                    set(k, "answers", "",
                        fmt::format("[{{ how = {}, leads_to = \"goes on\" }}]", family::toml_text(how)),
                        "marked when it was answered");
                if (control == "touch" && !r.area.empty() && a.area.empty())
                    set(k, "area", "", family::toml_text(r.area), "marked when it was answered");
                return;
            }
            const bool known =
                std::any_of(a.answers.begin(), a.answers.end(), [&](const family::Answer& x) { return x.how == how; });
            if (a.control != control || !known)
                out_.contradicts.push_back(
                    fmt::format("{} was answered by {} ({}); the file has the {}", a.id, r.how, control, a.control));
            else if (control == "touch" && !r.area.empty() && a.area.empty())
                set(k, "area", "", family::toml_text(r.area), "marked when it was answered");
            else if (control == "touch" && !r.area.empty() && a.area != r.area)
                out_.contradicts.push_back(
                    fmt::format("{} was touched at \"{}\"; the file has \"{}\"", a.id, printable(r.area), a.area));
        }
        if (!a.shows.empty()) return;
        for (const watch::ShownText& t : seen_.observed.shown)
            if (inside(t.at)) return set(k, "shows", "", family::toml_text(t.text), "word for word, as typed");
    }

    void texts() {
        std::set<std::string> said;
        for (const watch::ShownText& t : seen_.observed.shown) {
            const bool of_act =
                std::any_of(f_.script.begin(), f_.script.end(), [&](const Act& a) { return a.shows == t.text; });
            if (of_act || of_acts_.contains(t.text) || watch::meaning_of(f_, t.text).known ||
                !said.insert(t.text).second)
                continue;
            block(
                "message", printable(t.text), "word for word, as typed; what it means is unknown",
                fmt::format("[[message]]\ntext = {}\nmeaning = \"unknown\"\nnext = \"keep it fed and ask the maker\"\n"
                            "sure = \"guess\"\n",
                            family::toml_text(t.text)));
        }
    }

    void tally() {
        if (const auto broken = watch::check_tally(f_, {}, seen_.observed.tally))
            out_.contradicts.push_back("in its tally " + broken->why);
        std::vector<std::string> classes;
        const auto any = [&](std::optional<int> watch::TallyReading::* member) {
            return std::any_of(seen_.observed.tally.begin(), seen_.observed.tally.end(),
                               [&](const watch::TallyReading& r) { return (r.*member).has_value(); });
        };
        const auto take = [&](const char* name, bool seen, const std::string& has) {
            if (seen && has.empty()) classes.emplace_back(name);
        };
        const family::Tally t = f_.tally.value_or(family::Tally{});
        take("landed", any(&watch::TallyReading::landed), t.landed);
        take("passed_over", any(&watch::TallyReading::passed_over), t.passed_over);
        take("refused", any(&watch::TallyReading::refused), t.refused);
        take("to_come", any(&watch::TallyReading::to_come), t.to_come);
        if (classes.empty()) return;
        if (!f_.tally) {
            std::string text = "[tally]  # counted in a run; what the box calls its counts was not noted\n";
            for (const std::string& c : classes) text += fmt::format("{0} = \"{0} (its word is not known)\"\n", c);
            block("tally", join(classes, ", "), "counted in this run", text);
            return;
        }
        for (const std::string& c : classes) {
            Line l;
            l.key = "tally." + c;
            l.after = family::toml_text(c + " (its word is not known)");
            l.rests_on = "counted in this run; what the box calls it was not noted";
            l.section = "tally";
            l.edit_key = c;
            out_.lines.push_back(std::move(l));
        }
    }

    void card() {
        if (f_.card || !seen_.card) return;
        const std::string index = f_.package ? f_.package->index : "";
        if (index.empty()) {
            out_.not_learnt.push_back(
                "card: one was accepted, but where its index stands is not known without [package]");
            return;
        }
        block("card", fmt::format("mbr, {}, clusters of {} KiB", seen_.card->file_system, seen_.card->cluster_kib),
              "one card of this kind was taken to the end of a run",
              fmt::format(
                  "[card]  # one such card was accepted; others were not tried\nmedia = [\"block-device\"]  # which "
                  "kind it was the journal does not say\ntable = \"mbr\"\nfile_system = {}\ncluster_kib = "
                  "[{}]\nindex_at = {}\n",
                  family::toml_text(seen_.card->file_system), seen_.card->cluster_kib, family::toml_text(index)));
    }

    void level() {
        const family::Family after = with_all(toml_, out_.lines);
        const int reached = after.id.empty() ? 0 : family::level_of(after).level;
        if (f_.level.size() != 2 || reached <= f_.level[1] - '0') return;
        Line l;
        l.key = "family.level";
        l.before = family::toml_text(f_.level);
        l.after = family::toml_text(fmt::format("L{}", reached));
        l.rests_on = "what the file holds with every line above";
        l.section = "family";
        l.edit_key = "level";
        out_.lines.push_back(std::move(l));
    }

    // What this run said otherwise can be kept in the file, so that the next reader knows of it.
    void contradiction() {
        std::vector<std::string> fresh = out_.contradicts;
        for (const family::WatchedRun& w : f_.watched)
            if (w.run == seen_.run)
                std::erase_if(fresh, [&](const std::string& c) {
                    return std::find(w.contradicts.begin(), w.contradicts.end(), c) != w.contradicts.end();
                });
        if (fresh.empty()) return;
        Line l;
        l.key = "watched.contradicts";
        l.after = join(fresh, "; ");
        l.rests_on = "named in the file, not averaged away";
        out_.lines.push_back(std::move(l));
    }

    void never() {
        if (f_.boot.empty())
            out_.not_learnt.emplace_back(
                "boot: a good run does not show what a power cut would do; every write counts as having no way back");
        if (!f_.supply) out_.not_learnt.emplace_back("supply: what was enough once does not say what is too little");
    }

    const family::Family& f_;
    std::string_view toml_;
    const Seen& seen_;
    std::set<std::string> of_acts_;  // texts that new states show
    Learnt out_;
};

}  // namespace

Learnt learn(const family::Family& family, std::string_view toml, const Seen& seen) {
    return Learner(family, toml, seen).run();
}

}  // namespace fettle::learn
