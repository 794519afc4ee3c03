// The wall in characters: one row a bench on a shared clock, from now on. A bracket is a window for hands; the stretch
// in which two of them may clash is boxed.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/watch/glyph_row.h"
#include "fettle/watch/picture.h"
#include "fettle/watch/wall.h"

namespace fettle::watch {
namespace {

constexpr int kName = 12;

struct Glyphs {
    const char *left, *line, *right, *run, *end, *edge, *corner_l, *corner_r, *foot_l, *foot_r;
};
constexpr Glyphs kUtf8 = {"╰", "─", "╯", "·", "╢", "│", "┌", "┐", "└", "┘"};
constexpr Glyphs kAscii = {"[", "-", "]", ".", "|", "|", "+", "+", "+", "+"};

double span_s(const std::vector<WallRow>& rows) {
    double span = 600;
    for (const WallRow& r : rows) {
        span = std::max(span, r.end_s);
        for (const HandsAsk& a : r.asks) span = std::max(span, a.at.quantile(0.95) + a.hands_s);
    }
    return span * 1.02;
}

}  // namespace

std::vector<double> wall_ticks(const std::vector<WallRow>& rows, int width) {
    std::vector<double> out;
    const double span = span_s(rows), step_s = 60 * tick_minutes(span, (width - kName) / 12.0);
    for (double s = 0; s < span; s += step_s) out.push_back(s);
    return out;
}

std::vector<std::string> wall(const std::vector<WallRow>& rows, int width, bool ascii,
                              const std::vector<std::string>& labels) {
    const Glyphs& g = ascii ? kAscii : kUtf8;
    const int plot = std::max(24, width - kName);
    const double span = span_s(rows);
    const auto column = [&](double s) {
        return std::clamp(static_cast<int>(std::floor(s / span * plot)), 0, plot - 1);
    };
    std::vector<HandsAsk> all;
    for (const WallRow& r : rows) all.insert(all.end(), r.asks.begin(), r.asks.end());
    // Where two may clash: from the later beginning to the earlier end of the two windows.
    GlyphRow above(plot), below(plot);
    std::vector<std::pair<int, int>> boxes;
    for (const Clash& c : clashes(all)) {
        const auto low = [&](std::size_t i) { return all[i].at.quantile(0.1); };
        const auto high = [&](std::size_t i) { return all[i].at.quantile(0.9) + all[i].hands_s; };
        int from = column(std::max(low(c.a), low(c.b))), to = column(std::min(high(c.a), high(c.b)));
        if (to < from) std::swap(from, to);
        to = std::max(to, from + 1);
        boxes.push_back({from, to});
        above.put(from, g.corner_l);
        below.put(from, g.foot_l);
        for (int i = from + 1; i < to; ++i) above.put(i, g.line), below.put(i, g.line);
        above.put(to, g.corner_r);
        below.put(to, g.foot_r);
    }
    std::vector<std::string> out;
    GlyphRow axis(plot);
    const std::vector<double> ticks = wall_ticks(rows, width);
    for (std::size_t i = 0; i < std::min(ticks.size(), labels.size()); ++i) {
        const int at = column(ticks[i]);
        if (at + static_cast<int>(labels[i].size()) <= plot &&
            axis.free(at, at + static_cast<int>(labels[i].size()) + 1))
            axis.text(at, labels[i]);
    }
    out.push_back(std::string(kName, ' ') + axis.str());
    if (!boxes.empty()) out.push_back(std::string(kName, ' ') + above.str());
    for (const WallRow& r : rows) {
        GlyphRow line(plot);
        const int end = r.end_s > 0 ? column(r.end_s) : -1;
        for (int i = 0; i < end; ++i) line.put(i, g.run);
        line.put(end, g.end);
        for (const HandsAsk& a : r.asks) {
            const int from = column(a.at.quantile(0.1)),
                      to = std::max(from + 1, column(a.at.quantile(0.9) + a.hands_s));
            line.put(from, g.left);
            for (int i = from + 1; i < to; ++i) line.put(i, g.line);
            line.put(to, g.right);
            if (to - from > 5) line.text(from + (to - from - 4) / 2 + 1, "hand");
        }
        if (r.hands_now) line.text(0, "hand NOW");
        for (const auto& [from, to] : boxes) {
            line.put(from, g.edge);
            line.put(to, g.edge);
        }
        out.push_back(fmt::format("{:<{}}", r.bench.substr(0, kName - 2), kName) + line.str());
    }
    if (!boxes.empty()) out.push_back(fmt::format("{:<{}}", "may clash", kName) + below.str());
    return out;
}

}  // namespace fettle::watch
