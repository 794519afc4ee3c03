// The run strip in characters. A column is a slice of time, a row a slice of current. Drawn into a grid of glyphs, one
// column each, and only then turned into text, so that no line can grow wider than asked.
#include "fettle/watch/strip.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/watch/glyph_row.h"
#include "fettle/watch/picture.h"

namespace fettle::watch {
namespace {

constexpr int kRows = 7;   // of current
constexpr int kLeft = 6;   // "3.2 A "
constexpr int kNote = 12;  // the margin note at the right

struct Glyphs {
    const char *band, *no_way_back, *no_net, *not_known, *now, *base, *cross, *tick, *tap, *left, *right, *line;
    const char *flat, *up_from, *up_to, *down_from, *down_to, *between;  // of the pen's trace
    const char* fill[9];
};
constexpr Glyphs kUtf8 = {"░",
                          "╱",
                          "·",
                          "?",
                          "┃",
                          "─",
                          "╂",
                          "┴",
                          "▾",
                          "╰",
                          "╯",
                          "─",
                          "─",
                          "╯",
                          "╭",
                          "╮",
                          "╰",
                          "│",
                          {" ", "▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"}};
constexpr Glyphs kAscii = {":",
                           "/",
                           ".",
                           "?",
                           "|",
                           "-",
                           "+",
                           "+",
                           "v",
                           "[",
                           "]",
                           "-",
                           "=",
                           "=",
                           "=",
                           "=",
                           "=",
                           "=",
                           {" ", "_", "_", "_", "#", "#", "#", "#", "#"}};

// Width in columns of text whose characters are one column each.
std::size_t columns(std::string_view text) {
    return static_cast<std::size_t>(
        std::count_if(text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

std::string to_ascii(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (static_cast<unsigned char>(text[i]) < 0x80) {
            out += text[i];
        } else if ((static_cast<unsigned char>(text[i]) & 0xC0) == 0xC0) {
            out += '?';
        }
    }
    return out;
}

// At blanks; a word longer than the line is cut.
std::vector<std::string> wrap(std::string_view text, std::size_t width) {
    std::vector<std::string> out;
    std::string line;
    for (std::string word : split(text, ' ')) {
        while (columns(word) > width) {
            std::size_t bytes = 0, seen = 0;
            while (bytes < word.size() && seen < width) {
                ++bytes;
                while (bytes < word.size() && (static_cast<unsigned char>(word[bytes]) & 0xC0) == 0x80) ++bytes;
                ++seen;
            }
            if (!line.empty()) out.push_back(line);
            line.clear();
            out.push_back(word.substr(0, bytes));
            word.erase(0, bytes);
        }
        if (!line.empty() && columns(line) + 1 + columns(word) > width) {
            out.push_back(line);
            line.clear();
        }
        if (!line.empty()) line += ' ';
        line += word;
    }
    if (!line.empty()) out.push_back(line);
    return out;
}

class Drawing {
public:
    Drawing(const Picture& p, const Where& w, const StripStyle& style)
        : p_(p),
          w_(w),
          g_(style.ascii ? kAscii : kUtf8),
          width_(std::max(48, style.width)),
          ascii_(style.ascii),
          sentence_(style.sentence) {
        noted_ = width_ >= 72 && !w.pace.empty() && !p.over;
        plot_ = width_ - kLeft - (noted_ ? kNote + 1 : 5);
    }

    std::vector<std::string> draw() {
        if (sentence_) {
            for (const std::string& l : wrap(w_.sentence, static_cast<std::size_t>(width_))) line(l);
            line("");
        }
        if (!p_.segments.empty()) {
            paper();
            axis();
            hands();
            legend();
        }
        if (p_.over) return std::move(lines_);
        line("");
        for (const std::string& l :
             wrap("If power went now: " + w_.if_power_went_words + ".", static_cast<std::size_t>(width_)))
            line(l);
        if (!noted_ && !w_.pace.empty() && !p_.over) line(w_.pace + ".");
        return std::move(lines_);
    }

private:
    void line(std::string text) {
        while (!text.empty() && text.back() == ' ') text.pop_back();
        lines_.push_back(ascii_ ? to_ascii(text) : std::move(text));
    }

    double second(double column) const { return p_.span_s * column / plot_; }
    int column(double s) const { return std::clamp(static_cast<int>(std::floor(s / p_.span_s * plot_)), 0, plot_ - 1); }
    int now_column() const { return column(p_.now_s); }

    void paper() {
        GlyphRow top(plot_);
        taps(top);
        std::vector<GlyphRow> rows(kRows, GlyphRow(plot_));
        for (int c = 0; c < plot_; ++c) slice(rows, c);
        if (!p_.over) {
            for (GlyphRow& r : rows) r.put(now_column(), g_.now);
        }
        line(std::string(kLeft, ' ') + top.str());
        const std::vector<std::string> note = noted_ ? wrap(w_.pace, kNote - 1) : std::vector<std::string>{};
        for (int r = 0; r < kRows; ++r) {
            std::string text = r % 2 == 1 ? fmt::format("{:3.3g} A ", row_A() * (kRows - r)) : std::string(kLeft, ' ');
            text += rows[static_cast<std::size_t>(r)].str();
            if (r >= 1 && r - 1 < static_cast<int>(note.size())) {
                const std::size_t at = static_cast<std::size_t>(width_ - kNote) + 1;
                text += std::string(at - columns(text), ' ') + note[static_cast<std::size_t>(r - 1)];
            }
            line(text);
        }
    }

    // Ampere a row: a round figure, so that the labelled rows are round too.
    double row_A() const {
        for (double a : {0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0}) {
            if (a * kRows >= p_.top_A) return a;
        }
        return std::ceil(p_.top_A / kRows);
    }

    // One column of the paper: what was measured, or the level that was expected (behind now), or the band (ahead).
    void slice(std::vector<GlyphRow>& rows, int c) {
        const double from_s = second(c), to_s = second(c + 1), mid_s = second(c + 0.5);
        const bool behind = p_.over || c < now_column();
        const double measured = behind ? p_.measured_A(from_s, to_s) : -1;
        const Segment* s = p_.at(mid_s);
        if (measured >= 0) {
            bar(rows, c, measured);
        } else if (s && !s->dark && s->mean_A > 0) {
            level(rows, c, *s, behind);
        } else {
            return;  // dark, or nothing known: an open gap
        }
        const Ground g = p_.ground(from_s, to_s);
        if (g != Ground::firm) hatch(rows, c, measured >= 0 ? measured : s->mean_A, g);
    }

    void bar(std::vector<GlyphRow>& rows, int c, double ampere) {
        const int eighths = static_cast<int>(std::lround(ampere / row_A() * 8));
        for (int r = 0; r < kRows; ++r) {
            const int in_row = std::clamp(eighths - (kRows - 1 - r) * 8, 0, 8);
            rows[static_cast<std::size_t>(r)].put(c, g_.fill[in_row]);
        }
    }

    int row_of(double ampere) const {
        return std::clamp(kRows - static_cast<int>(std::ceil(ampere / row_A())), 0, kRows - 1);
    }

    void level(std::vector<GlyphRow>& rows, int c, const Segment& s, bool behind) {
        if (behind) {
            trace(rows, c, row_of(s.mean_A));
            return;
        }
        for (int r = row_of(s.high_A); r <= row_of(s.mean_A); ++r) rows[static_cast<std::size_t>(r)].put(c, g_.band);
    }

    // The pen's line: flat, or one step up or down from where it was in the column before.
    void trace(std::vector<GlyphRow>& rows, int c, int row) {
        const int before = pen_column_ == c - 1 ? pen_row_ : row;
        pen_column_ = c;
        pen_row_ = row;
        const auto put = [&](int r, const char* glyph) { rows[static_cast<std::size_t>(r)].put(c, glyph); };
        if (row == before) {
            put(row, g_.flat);
            return;
        }
        const bool up = row < before;
        put(before, up ? g_.up_from : g_.down_from);
        put(row, up ? g_.up_to : g_.down_to);
        for (int r = std::min(row, before) + 1; r < std::max(row, before); ++r) put(r, g_.between);
    }

    void hatch(std::vector<GlyphRow>& rows, int c, double ampere, Ground g) {
        const char* glyph = g == Ground::no_way_back ? g_.no_way_back : g == Ground::no_net ? g_.no_net : g_.not_known;
        no_way_back_shown_ = no_way_back_shown_ || g == Ground::no_way_back;
        no_net_shown_ = no_net_shown_ || g == Ground::no_net;
        unknown_shown_ = unknown_shown_ || g == Ground::not_known;
        for (int r = row_of(ampere) + 1; r < kRows; ++r) {
            GlyphRow& row = rows[static_cast<std::size_t>(r)];
            if (p_.measured_A(second(c), second(c + 1)) >= 0 || row.room(c, c + 1)) row.put(c, glyph);
        }
    }

    // Names of marks above their places, as many as there is room for, the latest first.
    void taps(GlyphRow& top) {
        if (!p_.over) top.text(std::clamp(now_column() - 1, 0, plot_ - 3), "now");
        for (auto it = p_.taps.rbegin(); it != p_.taps.rend(); ++it) {
            const int c = column(it->at_s);
            const int n = static_cast<int>(it->words.size());
            if (!top.room(c, c + 1)) continue;
            if (top.room(c, c + n + 2)) {
                top.text(c + 1, it->words);
            } else if (top.room(c - n - 1, c)) {
                top.text(c - n, it->words);
            }
            top.put(c, g_.tap);
        }
    }

    void axis() {
        GlyphRow base(plot_), minutes(plot_);
        for (int c = 0; c < plot_; ++c) base.put(c, g_.base);
        const double step_s = 60 * tick_minutes(p_.span_s, plot_ / 8.0);
        for (double s = 0; s < p_.span_s; s += step_s) {
            base.put(column(s), g_.tick);
            const std::string label = fmt::format("{:.0f}", s / 60);
            if (minutes.room(column(s), column(s) + static_cast<int>(label.size()))) minutes.text(column(s), label);
        }
        if (!p_.over) base.put(now_column(), g_.cross);
        line("  0 A " + base.str());
        std::string labels = minutes.str();
        labels += " min";
        line(std::string(kLeft, ' ') + labels);
    }

    void hands() {
        GlyphRow row(width_ - kLeft);
        bool any = false;
        // What is wanted now is written first; a reach that would run into it gives way.
        int taken_from = width_, taken_to = -1;
        for (const Reach& h : p_.hands) {
            if (!h.now) continue;
            any = true;
            taken_from = std::clamp(column(h.from_s) - 1, 0, plot_ - 8);
            taken_to = taken_from + 8;
            row.text(taken_from, "hand NOW");
        }
        for (const Reach& h : p_.hands) {
            if (h.now) continue;
            const int from = column(h.from_s), to = std::max(from + 1, column(h.to_s));
            if (from < taken_to && taken_from <= to) continue;
            any = true;
            row.put(from, g_.left);
            for (int c = from + 1; c < to; ++c) row.put(c, g_.line);
            row.put(to, g_.right);
            const int room = to - from - 1;
            if (room >= 4) {
                row.text(from + 1 + (room - 4) / 2, "hand");
            } else if (row.room(to + 1, to + 6)) {
                row.text(to + 2, "hand");
            } else if (row.room(from - 5, from)) {
                row.text(from - 5, "hand");
            }
        }
        if (any) line(std::string(kLeft, ' ') + row.str());
    }

    void legend() {
        std::vector<std::string> parts;
        if (!p_.over) parts.push_back(fmt::format("{0}{0} ahead", g_.band));
        if (no_way_back_shown_) parts.push_back(fmt::format("{0}{0} no way back", g_.no_way_back));
        if (no_net_shown_) parts.push_back(fmt::format("{0}{0} no net", g_.no_net));
        if (unknown_shown_) parts.push_back(fmt::format("{0}{0} way back not known", g_.not_known));
        parts.push_back("gap: dark");
        if (p_.samples.empty())
            parts.push_back(fmt::format("{0}{0} {1}, not measured", g_.flat, p_.over ? "passed" : "behind"));
        for (const std::string& l : wrap(join(parts, "  "), static_cast<std::size_t>(width_ - kLeft)))
            line(std::string(kLeft, ' ') + l);
    }

    const Picture& p_;
    const Where& w_;
    const Glyphs& g_;
    int width_, plot_ = 0;
    bool ascii_, sentence_, noted_ = false;
    bool no_way_back_shown_ = false, no_net_shown_ = false, unknown_shown_ = false;
    int pen_column_ = -2, pen_row_ = 0;
    std::vector<std::string> lines_;
};

}  // namespace

std::vector<std::string> draw_strip(const Picture& picture, const Where& where, const StripStyle& style) {
    return Drawing(picture, where, style).draw();
}

}  // namespace fettle::watch
