#include "fettle/watch/picture.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "fettle/watch/series.h"

namespace fettle::watch {
namespace {

using family::ActKind;

void patches(const Positions& positions, Picture& out) {
    for (const Segment& s : out.segments) {
        const std::vector<Ground>* grounds = positions.grounds(s.act);
        const std::size_t n = grounds ? grounds->size() : 1;
        for (std::size_t i = 0; i < n; ++i) {
            const auto at_s = [&](std::size_t piece) {
                return s.from_s + (s.to_s - s.from_s) * static_cast<double>(piece) / static_cast<double>(n);
            };
            const Ground g = grounds ? (*grounds)[i] : Ground::not_known;
            if (!out.patches.empty() && out.patches.back().ground == g) {
                out.patches.back().to_s = at_s(i + 1);
            } else {
                out.patches.push_back({at_s(i), at_s(i + 1), g});
            }
        }
    }
}

void segments(const Step& step, const Where& where, Picture& out) {
    const auto& script = step.family.script;
    if (where.begins_s.size() != script.size() + 1) return;
    for (std::size_t i = 0; i < script.size(); ++i) {
        const family::Act& act = script[i];
        if (act.kind == ActKind::end || where.begins_s[i + 1] <= where.begins_s[i]) continue;
        Segment s{act.id, where.begins_s[i], where.begins_s[i + 1], 0, 0, act.dark};
        if (out.over) s.to_s = std::min(s.to_s, out.now_s);
        for (const forecast::StateWindow& w : step.forecast.states) {
            if (w.act != act.id) continue;
            s.mean_A = w.current_mean_A;
            s.high_A = std::max(w.current_p99_A, w.current_mean_A);
        }
        if (s.to_s > s.from_s) out.segments.push_back(s);
    }
}

}  // namespace

const Segment* Picture::at(double s) const {
    for (const Segment& x : segments) {
        if (s >= x.from_s && s < x.to_s) return &x;
    }
    return nullptr;
}

Ground Picture::ground(double from_s, double to_s) const {
    const auto rank = [](Ground g) {
        switch (g) {
            case Ground::firm: return 0;
            case Ground::not_known: return 1;
            case Ground::no_net: return 2;
            case Ground::no_way_back: return 3;
        }
        return 0;
    };
    Ground worst = Ground::firm;
    for (const Patch& p : patches) {
        if (p.to_s <= from_s || p.from_s >= to_s) continue;
        if (rank(p.ground) > rank(worst)) worst = p.ground;
    }
    return worst;
}

double Picture::measured_A(double from_s, double to_s) const {
    const auto before = [](const SeriesPoint& p, double s) { return p.at_s < s; };
    auto at = std::lower_bound(samples.begin(), samples.end(), from_s, before);
    double sum = 0;
    int n = 0;
    for (; at != samples.end() && at->at_s < to_s; ++at, ++n) sum += at->value;
    return n ? sum / n : -1;
}

Picture picture(const Step& step, const Positions& positions, const Observed& seen, const Where& where,
                std::span<const SeriesPoint> samples) {
    Picture out;
    out.over = where.standing == Standing::ended || where.state != RunState::open;
    out.now_s = where.elapsed_s;
    if (out.over && where.in_act_s) out.now_s = std::max(0.0, where.elapsed_s - *where.in_act_s);
    segments(step, where, out);
    const double last = out.segments.empty() ? 0 : out.segments.back().to_s;
    out.span_s = std::max({60.0, out.now_s + (out.over ? 0 : where.end_p90_s), out.over ? 0.0 : last});
    patches(positions, out);
    for (const Segment& s : out.segments) out.top_A = std::max(out.top_A, s.high_A);
    const auto later = [](double s, const SeriesPoint& p) { return s < p.at_s; };
    out.samples = samples.first(
        static_cast<std::size_t>(std::upper_bound(samples.begin(), samples.end(), out.now_s, later) - samples.begin()));
    for (const SeriesPoint& p : out.samples) out.top_A = std::max(out.top_A, p.value);
    for (const Mark& m : seen.marks) {
        if (m.undone) continue;
        const double at = static_cast<double>(m.at - seen.started) / 1000;
        if (at >= 0 && at <= out.now_s + 1) out.taps.push_back({at, m.event});
    }
    std::sort(out.taps.begin(), out.taps.end(), [](const Tap& a, const Tap& b) { return a.at_s < b.at_s; });
    for (const HandsWindow& h : where.hands) {
        out.hands.push_back({out.now_s + h.from_s, out.now_s + h.to_s, h.now, false});
    }
    for (std::size_t i = 0; i < step.family.script.size() && i + 1 < where.begins_s.size(); ++i) {
        if (step.family.script[i].kind != ActKind::ask || !where.begin_marked[i] || where.begins_s[i + 1] > out.now_s)
            continue;
        const auto missed = [&](const Mark& m) {
            const double at = static_cast<double>(m.at - seen.started) / 1000;
            return !m.undone && m.event == "skipped" && at >= where.begins_s[i] && at <= where.begins_s[i + 1] + 1;
        };
        if (std::any_of(seen.marks.begin(), seen.marks.end(), missed)) continue;  // nobody's hand was there
        out.hands.push_back({where.begins_s[i], where.begins_s[i + 1], false, true});
    }
    return out;
}

std::vector<SeriesPoint> strip_samples(const Observed& seen) {
    AmpsSeries series(seen.started);
    series.add(seen.supply);
    series.until(std::numeric_limits<UnixMs>::max());
    return {series.points().begin(), series.points().end()};
}

std::vector<std::string> strip(const Step& step, const Observed& seen, const Where& where, UnixMs,
                               const std::vector<SeriesPoint>& samples, const StripStyle& style) {
    return draw_strip(picture(step, Positions(step), seen, where, samples), where, style);
}

std::string strip_svg(const Step& step, const Observed& seen, const Where& where, UnixMs,
                      const std::vector<SeriesPoint>& samples) {
    return draw_strip_svg(picture(step, Positions(step), seen, where, samples), where);
}

double tick_minutes(double span_s, double wanted) {
    for (double m : {1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 240.0, 720.0}) {
        if (span_s / 60 / m <= wanted) return m;
    }
    double m = 1440;  // however slow a family file has it: never more ticks than wanted
    while (std::isfinite(span_s) && span_s / 60 / m > wanted) m *= 2;
    return m;
}

}  // namespace fettle::watch
