// What the marks mean: reasons with what each rests on, and one sentence.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/gauge.h"

namespace fettle::card {
namespace {

// Cards are sold by powers of ten, systems count by powers of two: both are said.
std::string both(std::uint64_t bytes) {
    const double gb = static_cast<double>(bytes) / 1e9, gib = static_cast<double>(bytes) / (1u << 30);
    if (gib < 1) return human_bytes(bytes);
    return fmt::format("{:.2f} GiB ({:.{}f} GB)", gib, gb, gb < 10 ? 2 : 1);
}

// "0.15 %", "12 %": of the card, or of its marks.
std::string share(double part, double whole) {
    const double percent = whole > 0 ? 100 * part / whole : 0;
    return percent >= 10 || percent == 0 ? fmt::format("{:.0f} %", percent) : fmt::format("{:.2g} %", percent);
}

std::string megabytes(double bytes_per_s) {
    return fmt::format("{:.1f} MB/s", bytes_per_s / 1e6);
}

double rate_of(const std::vector<Timed>& all, std::uint64_t below, double* slowest = nullptr) {
    double seconds = 0, bytes = 0;
    for (const auto& t : all) {
        if (t.stretch.at >= below) continue;
        bytes += static_cast<double>(t.stretch.length);
        seconds += t.seconds;
        if (slowest && t.seconds > 0) {
            const double rate = static_cast<double>(t.stretch.length) / t.seconds;
            if (*slowest == 0 || rate < *slowest) *slowest = rate;
        }
    }
    return seconds > 0 ? bytes / seconds : 0;
}

void add_slow(const std::vector<Timed>& all, std::uint64_t unit, bool single_blocks, std::vector<Timed>& out) {
    std::vector<double> times;
    for (const auto& t : all)
        if ((t.stretch.at >= unit) == single_blocks) times.push_back(t.seconds);
    if (times.size() < 3) return;
    std::nth_element(times.begin(), times.begin() + static_cast<std::ptrdiff_t>(times.size() / 2), times.end());
    const double limit = std::max(slow_factor * times[times.size() / 2], slow_least_s);
    for (const auto& t : all)
        if ((t.stretch.at >= unit) == single_blocks && t.seconds >= limit) out.push_back(t);
}

std::string measured(std::uint64_t n, const char* what) {
    return fmt::format("measured {} {}", n, what);
}

// "C10, U1, V10": of each kind of class the last one met.
std::string highest_of_each_kind(const std::vector<std::string>& met) {
    std::vector<std::string> out;
    for (const auto& c : met)
        if (!out.empty() && out.back()[0] == c[0])
            out.back() = c;
        else
            out.push_back(c);
    return join(out, ", ");
}

// The later look counts: after re-insertion, if there was one.
const Seen* last_look(const Gauged& g) {
    return g.again ? &*g.again : g.first ? &*g.first : nullptr;
}

struct Judge {
    const Gauged& g;
    Judgement out;

    void add(const char* code, Verdict v, std::string text, std::string rests_on, Next next = {}) {
        out.add(Reason{code, v, std::move(text), "", std::move(rests_on), std::move(next)});
    }

    static std::string of_marks(std::uint64_t n, const Seen& s) {
        return share(static_cast<double>(n), static_cast<double>(s.sectors));
    }

    void faults(const Seen& s) {
        const std::string by = measured(s.sectors, s.cold ? "sectors, past the system's memory" : "sectors");
        const std::string sold = both(g.plan.card_bytes);
        if (!g.first && s.damaged != 0 && s.wrap_bytes == 0) {
            add("gauge-written-since", Verdict::cant_say,
                fmt::format("{} of the marks hold something else: the card was written since, or lost them. Gauge it "
                            "again.",
                            of_marks(s.damaged + s.empty, s)),
                by);
            return;
        }
        if (s.wrap_bytes != 0)
            add("gauge-wraps", Verdict::halt,
                fmt::format("It says {} and begins again after {}: what is written beyond lands on what was written "
                            "before. Retire the card.",
                            sold, both(s.wrap_bytes)),
                by);
        if (s.empty != 0)
            add("gauge-drops", Verdict::halt,
                fmt::format(
                    "{} of the marks came back empty, the first at {}: what is written there is not kept. Retire "
                    "the card.",
                    of_marks(s.empty, s), both(s.first_wrong_at)),
                by);
        if (s.damaged != 0 && s.wrap_bytes == 0)
            add("gauge-damaged", Verdict::halt,
                fmt::format("{} of the marks came back with other bytes, the first at {}. Retire the card.",
                            of_marks(s.damaged, s), both(s.first_wrong_at)),
                by);
        if (!s.unreadable.empty())
            add("gauge-unreadable", Verdict::halt,
                fmt::format("{} could not be read, the first at {}. Clean the contacts and gauge once more; "
                            "if it is the same again, retire the card.",
                            plural(s.unreadable.size(), "stretch", "stretches"), both(s.unreadable[0].at)),
                by);
    }

    void capacity() {
        const Seen* s = last_look(g);
        if (!s) return;
        if (g.first && !g.first->sound()) faults(*g.first);
        if (g.again && !g.again->sound() && (!g.first || g.first->sound())) {
            faults(*g.again);
            if (g.first)
                add("gauge-controller-lied", Verdict::halt,
                    "Before it was pulled the card gave everything back: its controller answered from its own memory "
                    "for what it had not kept.",
                    measured(g.again->sectors, "sectors after re-insertion"));
        }
        if (!s->sound() || (g.first && !g.first->sound())) return;
        const std::string figures = fmt::format(
            "{} of {} was marked and holds its own mark: all of the first {} and one block in each further {}",
            share(512.0 * static_cast<double>(s->right), static_cast<double>(g.plan.card_bytes)),
            both(g.plan.card_bytes), human_bytes(g.plan.unit_bytes), human_bytes(g.plan.unit_bytes));
        if (g.again && g.replugged) {
            add("gauge-sound", Verdict::fit, figures + ", still so after the card was pulled and put back.",
                measured(s->sectors, "sectors after re-insertion"));
        } else if (g.again) {
            add("gauge-not-surely-pulled", Verdict::mind,
                figures + ", read twice; whether the card was really pulled in between cannot be told here.",
                measured(s->sectors, "sectors, twice"));
        } else if (s->cold) {
            add("gauge-not-pulled", Verdict::mind,
                figures + "; a controller may still answer from its own memory until the card was pulled.",
                measured(s->sectors, "sectors, past the system's memory"));
        } else {
            add("gauge-warm", Verdict::cant_say,
                figures +
                    ", but the system may have answered from its memory: pull the card, put it back, and gauge it "
                    "again.",
                measured(s->sectors, "sectors, from the system's memory perhaps"),
                Next{"when it is back: ", with(flag("again"))});
        }
    }

    void speed() {
        if (!g.written || !g.first) return;
        const Pace p = pace(g.plan, *g.written, *g.first);
        const auto chunks =
            static_cast<std::uint64_t>(std::count_if(g.written->writes.begin(), g.written->writes.end(),
                                                     [&](const Timed& t) { return t.stretch.at < g.plan.unit_bytes; }));
        if (p.write_rate > 0 && p.read_rate > 0)
            add("gauge-pace", Verdict::fit,
                fmt::format("Writes {}, slowest stretch {}; reads {}, one after the other through this reader: {}.",
                            megabytes(p.write_rate), megabytes(p.slowest_write_rate), megabytes(p.read_rate),
                            p.highest_class.empty()
                                ? "below the least speed class, C2"
                                : "the write minima of " + highest_of_each_kind(p.classes_met) + " are reached"),
                measured(chunks, "stretches; minima of the SD Association's speed classes"));
        if (!p.slow.empty())
            add("gauge-slow-spots", Verdict::mind,
                fmt::format("{} took {} times as long as usual or longer, the first at {} ({:.1f} s).",
                            plural(p.slow.size(), "place"), slow_factor, both(p.slow[0].stretch.at), p.slow[0].seconds),
                measured(g.written->writes.size() + g.first->reads.size(), "writes and reads; the factor is a guess"));
    }
};

}  // namespace

const std::vector<SpeedClass>& speed_classes() {
    // SD Association, speed classes: minimum sequential write. Table: tests/data/reference/sd-speed-classes.csv.
    static const std::vector<SpeedClass> classes{{"C2", 2},   {"C4", 4},   {"C6", 6},  {"C10", 10},
                                                 {"U1", 10},  {"U3", 30},  {"V6", 6},  {"V10", 10},
                                                 {"V30", 30}, {"V60", 60}, {"V90", 90}};
    return classes;
}

Pace pace(const GaugePlan& plan, const Written& written, const Seen& seen) {
    Pace p;
    p.write_rate = rate_of(written.writes, plan.unit_bytes, &p.slowest_write_rate);
    p.read_rate = rate_of(seen.reads, plan.unit_bytes);
    for (const auto* all : {&written.writes, &seen.reads})
        for (const bool single : {false, true}) add_slow(*all, plan.unit_bytes, single, p.slow);
    double highest = 0;
    for (const auto& c : speed_classes())
        if (p.write_rate >= c.write_mb_per_s * 1e6) {
            p.classes_met.emplace_back(c.mark);
            if (c.write_mb_per_s >= highest) {
                highest = c.write_mb_per_s;
                p.highest_class = c.mark;
            }
        }
    return p;
}

Judgement judge(const Gauged& g) {
    Judge j{g, {}};
    j.capacity();
    j.speed();
    return std::move(j.out);
}

std::string headline(const Gauged& g) {
    const Judgement j = judge(g);
    const Reason* worst = nullptr;
    for (const auto& r : j.reasons)
        if (!worst || r.verdict > worst->verdict) worst = &r;
    if (!worst) return "Nothing was read back.";
    if (worst->verdict == Verdict::halt)
        return worst->code == "gauge-unreadable" ? "Not every place of this card can be read."
                                                 : "This card does not keep what it says it holds: retire it.";
    if (worst->verdict == Verdict::cant_say) return "Can't say yet whether this card is what it says.";
    return fmt::format("The card holds the {} that it says, as far as was looked.", both(g.plan.card_bytes));
}

}  // namespace fettle::card
