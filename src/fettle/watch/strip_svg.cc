// The run strip on paper: the same picture as in characters, as one SVG element. Black on white; what matters is told
// by shape (hatching, gap, bracket, word), never by a shade alone.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/watch/picture.h"
#include "fettle/watch/strip.h"

namespace fettle::watch {
namespace {

// Filling a screen half a metre wide, the two sentences, the hand and "now" have capitals of 13 mm: legible from 3 m by
// the 16 minutes of arc that ISO 9241-303 asks for at the least (from memory).
constexpr double kWidth = 760, kLeft = 54, kBig = 26, kBigLine = 31, kMiddle = 17, kPicture = 150;

std::vector<std::string> wrapped(std::string_view text, std::size_t width) {
    std::vector<std::string> out(1);
    for (const std::string& word : split(text, ' ')) {
        if (!out.back().empty() && out.back().size() + 1 + word.size() > width) out.emplace_back();
        if (!out.back().empty()) out.back() += ' ';
        out.back() += word;
    }
    return out;
}

class Svg {
public:
    Svg(const Picture& p, const Where& w) : p_(p), w_(w) {
        noted_ = !p.over && !w.pace.empty();
        right_ = noted_ ? 608 : kWidth - 14;
        sentence_ = wrapped(w.sentence, 50);
        power_ = wrapped("If power went now: " + w.if_power_went_words + ".", 50);
        top_ = 92 + kBigLine * static_cast<double>(sentence_.size());
        bottom_ = top_ + kPicture;
        top_A_ = std::ceil(p.top_A * 2) / 2;
    }

    std::string draw() {
        const double below = bottom_ + 132;  // the legend's line
        const double height = below + 12 + (p_.over ? 0 : kBigLine * static_cast<double>(power_.size()) + 6);
        out_ = fmt::format(R"(<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {:.0f} {:.0f}" role="img" )"
                           R"(font-family="DejaVu Sans, Liberation Sans, sans-serif" font-size="17" fill="#111111">)",
                           kWidth, height);
        out_ += fmt::format("<title>Run strip: {}</title>", escape_markup(w_.sentence));
        out_ +=
            R"svg(<defs><pattern id="nwb" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">)svg"
            R"(<rect width="7" height="7" fill="#ffffff"/><line x1="0" y1="0" x2="0" y2="7" stroke="#111111" )"
            R"(stroke-width="2.4"/></pattern><pattern id="nonet" width="6" height="6" patternUnits="userSpaceOnUse">)"
            R"(<rect width="6" height="6" fill="#ffffff"/><circle cx="2" cy="2" r="1.1" fill="#111111"/></pattern></defs>)";
        rect(0, 0, kWidth, height, "#ffffff");
        double y = kBig + 4;
        for (const std::string& l : sentence_) {
            text(6, y, l, R"( font-size="26")");
            y += kBigLine;
        }
        if (!p_.segments.empty()) {
            scale();
            grounds();
            ahead();
            behind();
            axis();
            taps();
            hands();
            now();
            note();
            legend();
        }
        y = below + kBigLine + 4;
        for (const std::string& l : p_.over ? std::vector<std::string>{} : power_) {
            text(6, y, l, R"( font-size="26")");
            y += kBigLine;
        }
        return out_ + "</svg>\n";
    }

private:
    double x(double s) const { return kLeft + (right_ - kLeft) * std::clamp(s / p_.span_s, 0.0, 1.0); }
    double y(double a) const { return bottom_ - (bottom_ - top_) * std::clamp(a / top_A_, 0.0, 1.0); }

    void text(double at_x, double at_y, std::string_view words, std::string_view more = "") {
        out_ += fmt::format(R"(<text x="{:.1f}" y="{:.1f}"{}>{}</text>)", at_x, at_y, more, escape_markup(words));
    }
    void rect(double x0, double y0, double x1, double y1, std::string_view fill) {
        out_ += fmt::format(R"(<rect x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}" fill="{}"/>)", x0, y0,
                            std::max(0.0, x1 - x0), std::max(0.0, y1 - y0), fill);
    }
    void line(double x0, double y0, double x1, double y1, double width, std::string_view more = "") {
        out_ += fmt::format(
            R"(<line x1="{:.1f}" y1="{:.1f}" x2="{:.1f}" y2="{:.1f}" stroke="#111111" stroke-width="{:.1f}"{}/>)", x0,
            y0, x1, y1, width, more);
    }

    void scale() {
        for (double a = 0; a <= top_A_ + 1e-9; a += top_A_ > 8 ? 5 : 1) {
            line(kLeft, y(a), right_, y(a), 0.5, a > 0 ? R"( stroke-opacity="0.25")" : "");
            text(kLeft - 6, y(a) + 6, fmt::format("{:.0f} A", a), R"( text-anchor="end")");
        }
    }

    double level(const Segment& s) const {
        const double m = s.to_s <= p_.now_s ? p_.measured_A(s.from_s, s.to_s) : -1;
        return m >= 0 ? m : s.mean_A;
    }

    // From the base line up to the expected or measured level.
    void grounds() {
        for (const Patch& g : p_.patches) {
            if (g.ground != Ground::no_way_back && g.ground != Ground::no_net) continue;
            for (const Segment& s : p_.segments) {
                const double from = std::max(g.from_s, s.from_s), to = std::min(g.to_s, s.to_s);
                if (to <= from || s.dark) continue;
                rect(x(from), y(level(s)), std::max(x(to), x(from) + 2), bottom_,
                     g.ground == Ground::no_way_back ? "url(#nwb)" : "url(#nonet)");
            }
        }
    }

    void ahead() {
        if (p_.over) return;
        for (const Segment& s : p_.segments) {
            const double from = std::max(s.from_s, p_.now_s);
            if (s.dark || s.mean_A <= 0 || s.to_s <= from) continue;
            rect(x(from), y(s.high_A), x(s.to_s), y(s.mean_A), "#d4d4d4");
            line(x(from), y(s.mean_A), x(s.to_s), y(s.mean_A), 1, R"( stroke-dasharray="4 3")");
        }
    }

    void behind() {
        if (!p_.samples.empty()) {
            std::string points;
            for (const SeriesPoint& s : p_.samples) points += fmt::format("{:.1f},{:.1f} ", x(s.at_s), y(s.value));
            out_ += fmt::format(R"(<polyline points="{}" fill="none" stroke="#111111" stroke-width="1.6"/>)", points);
            return;
        }
        std::string path;
        double last_to = -1;
        for (const Segment& s : p_.segments) {
            const double to = p_.over ? s.to_s : std::min(s.to_s, p_.now_s);
            if (s.dark || s.mean_A <= 0 || to <= s.from_s) continue;
            path += fmt::format("{}{:.1f} {:.1f} H{:.1f} ", std::abs(s.from_s - last_to) < 1e-6 ? "L" : "M",
                                x(s.from_s), y(s.mean_A), x(to));
            last_to = to;
        }
        if (!path.empty()) out_ += fmt::format(R"(<path d="{}" fill="none" stroke="#111111" stroke-width="2"/>)", path);
    }

    void axis() {
        const double step_s = 60 * tick_minutes(p_.span_s, 7);
        for (double s = 0; s <= p_.span_s; s += step_s) {
            line(x(s), bottom_, x(s), bottom_ + 5, 1);
            const bool last = s + step_s > p_.span_s;
            const bool at_edge = last && x(s) + 30 > right_;
            text(at_edge ? right_ : x(s), bottom_ + 22, fmt::format("{:.0f}{}", s / 60, last ? " min" : ""),
                 at_edge ? R"( text-anchor="end")" : R"( text-anchor="middle")");
        }
        for (const Segment& s : p_.segments) {
            if (!s.dark) continue;
            const double wide = x(s.to_s) - x(s.from_s), middle = (x(s.from_s) + x(s.to_s)) / 2;
            if (wide >= 44) {
                text(middle, bottom_ - 6, "dark", R"( text-anchor="middle" font-size="15" font-style="italic")");
            } else if (wide >= 14) {  // upright, where it fits no other way
                text(middle + 5, bottom_ - 6, "dark",
                     fmt::format(R"x( font-size="15" font-style="italic" transform="rotate(-90 {:.1f} {:.1f})")x",
                                 middle + 5, bottom_ - 6));
            }
        }
    }

    // Names stand right of their place, or left of it when there is no room; the latest first.
    void taps() {
        double free_to = kWidth - 4;
        for (auto it = p_.taps.rbegin(); it != p_.taps.rend(); ++it) {
            const double at = x(it->at_s);
            out_ += fmt::format(R"(<path d="M{:.1f} {:.1f} l-4 -7 h8 z"/>)", at, top_ - 2);
            const double width = 9 * static_cast<double>(it->words.size());
            const bool right = at - 4 + width <= free_to;
            if (!right && at + 4 > free_to + 8) continue;
            if (!right && at + 4 - width < kLeft) continue;
            text(right ? at - 4 : at + 4, top_ - 12, it->words,
                 right ? R"( font-size="15")" : R"( font-size="15" text-anchor="end")");
            free_to = (right ? at - 4 : at + 4 - width) - 4;
        }
    }

    // An open hand: palm, four fingers, thumb.
    void hand(double at_x, double at_y) {
        out_ += fmt::format(
            R"svg(<g transform="translate({:.1f} {:.1f}) scale(1.7)"><rect x="-6" y="-8" width="12" height="10" rx="3"/>)svg"
            R"(<rect x="-6" y="-17" width="2.4" height="12" rx="1.2"/><rect x="-2.8" y="-19" width="2.4" height="14" )"
            R"(rx="1.2"/><rect x="0.4" y="-19" width="2.4" height="14" rx="1.2"/><rect x="3.6" y="-17" width="2.4" )"
            R"svg(height="12" rx="1.2"/><rect x="5.4" y="-9.5" width="2.6" height="9" rx="1.3" transform="rotate(28 6 -1)"/></g>)svg",
            at_x, at_y);
    }

    void hands() {
        for (const Reach& h : p_.hands) {
            const double from = x(h.from_s), to = std::max(x(h.to_s), from + 6), base = bottom_ + 34;
            if (!h.now)
                out_ += fmt::format(
                    R"(<path d="M{0:.1f} {1:.1f} v6 H{2:.1f} v-6" fill="none" stroke="#111111" stroke-width="1.4"/>)",
                    from, base, to);
            const double at = (from + to) / 2;
            const std::string_view words = h.now ? "hand: now" : h.past ? "hand was there" : "hand";
            const bool over = h.past && !h.now;  // what is still to come is read from a step away
            const bool left = at + 22 + (over ? 10 : 15) * static_cast<double>(words.size()) > kWidth;
            hand(at, base + 46);
            text(left ? at - 16 : at + 22, base + (over ? 38 : 42), words,
                 fmt::format(R"( font-size="{}"{}{})", over ? 17 : 26, h.now ? R"( font-weight="bold")" : "",
                             left ? R"( text-anchor="end")" : ""));
        }
    }

    void now() {
        if (p_.over) return;
        line(x(p_.now_s), top_ - 8, x(p_.now_s), bottom_ + 8, 2.4);
        const double at = std::clamp(x(p_.now_s), kLeft + 22, right_ - 22);
        text(at, top_ - 34, "now", R"( text-anchor="middle" font-size="26" font-weight="bold")");
    }

    void note() {
        if (!noted_) return;
        double at = top_ + 18;
        for (const std::string& l : wrapped(w_.pace, 14)) {
            text(right_ + 14, at, l);
            at += kMiddle + 5;
        }
    }

    void legend() {
        double at = kLeft;
        const double base = bottom_ + 128;
        const auto entry = [&](std::string_view fill, std::string_view words) {
            rect(at, base - 13, at + 24, base, fill);
            out_ += fmt::format(
                R"(<rect x="{:.1f}" y="{:.1f}" width="24" height="13" fill="none" stroke="#111111" stroke-width="0.6"/>)",
                at, base - 13);
            text(at + 29, base, words, R"( font-size="14")");
            at += 44 + 8 * static_cast<double>(words.size());
        };
        const auto any = [&](Ground g) {
            return std::any_of(p_.patches.begin(), p_.patches.end(), [&](const Patch& p) { return p.ground == g; });
        };
        if (!p_.over) entry("#d4d4d4", "expected");
        if (any(Ground::no_way_back)) entry("url(#nwb)", "no way back");
        if (any(Ground::no_net)) entry("url(#nonet)", "no net");
        if (any(Ground::not_known)) entry("#ffffff", "way back not known");
        text(at, base, p_.samples.empty() ? "gap: dark; line: not measured" : "gap: dark; line: measured",
             R"( font-size="14")");
    }

    const Picture& p_;
    const Where& w_;
    bool noted_ = false;
    double right_ = 0, top_ = 0, bottom_ = 0, top_A_ = 1;
    std::vector<std::string> sentence_, power_;
    std::string out_;
};

}  // namespace

std::string draw_strip_svg(const Picture& picture, const Where& where) {
    return Svg(picture, where).draw();
}

}  // namespace fettle::watch
