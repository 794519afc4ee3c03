#include "fettle/ready/placard.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::ready {
namespace {

constexpr double kMargin = 14;

// Width of a character in thousandths of the size: DejaVu Sans, rounded up by groups (read off the font).
int width_of(std::string_view character, bool bold) {
    const char c = character.size() == 1 ? character[0] : 'M';
    int w = 640;
    if (std::string_view(" .,:;'|!ijlrtf()[]-").find(c) != std::string_view::npos) w = 420;
    if (std::string_view("mwMW@%").find(c) != std::string_view::npos) w = 990;
    if (c >= 'A' && c <= 'Z' && c != 'M' && c != 'W') w = c == 'I' ? 300 : 730;
    if (c == 'Q' || c == 'O' || c == 'G' || c == 'D' || c == 'H' || c == 'N') w = 790;
    return bold ? w * 113 / 100 : w;
}

std::vector<std::string> wrapped(const std::string& text, double room_mm, double size_mm, bool bold) {
    std::vector<std::string> out;
    std::string line;
    for (const std::string& word : split(text, ' ')) {
        const std::string longer = line.empty() ? word : line + " " + word;
        if (!line.empty() && width_mm(longer, size_mm, bold) > room_mm) {
            out.push_back(line);
            line = word;
        } else {
            line = longer;
        }
    }
    if (!line.empty()) out.push_back(line);
    return out;
}

class Layout {
public:
    Layout(const PlacardFacts& f, double scale, std::size_t cautions) : f_(f), k_(scale), cautions_(cautions) {}

    // True when all of it stands on the page.
    bool run() {
        head();
        times();
        list(f_.done_late.empty() ? "Do not touch until it ends" : "Do not touch until then", f_.keep, 6.2);
        if (!f_.hands.empty()) list("Somebody comes to the box", f_.hands, 6.2);
        foot();
        return y_ <= page.h_mm - kMargin;
    }
    Placard page;

private:
    double room() const { return page.w_mm - 2 * kMargin; }

    void text(const std::string& t, double size, bool bold, bool centred = false, double indent = 0) {
        size *= k_;
        for (const std::string& line : wrapped(t, room() - indent, size, bold)) {
            y_ += size * 1.22;
            // A word that is longer than the page is set smaller, never off the page.
            const double fit = std::min(1.0, (room() - indent) / std::max(1.0, width_mm(line, size, bold)));
            page.lines.push_back({line, centred ? page.w_mm / 2 : kMargin + indent, y_, size * fit, bold, centred});
        }
    }
    void gap(double mm) { y_ += mm * k_; }
    void rule() {
        gap(4);
        page.bars.push_back({kMargin, y_, room(), 0.6, true});
        gap(2);
    }

    void head() {
        y_ = kMargin - 4;
        text("HANDS OFF", 25, true, true);
        text("The unit in this " + std::string(f_.place == "bench" ? "bench" : "vehicle") +
                 (f_.begun.empty() ? " is going to be updated." : " is being updated."),
             8, false, true);
        rule();
    }
    void times() {
        if (f_.begun.empty()) {
            text("Begun at ____ : ____", 13, true, true);
            text(f_.done_late.empty() ? std::string("How long it takes is not known.")
                                      : fmt::format("Done {} to {}", f_.done_early, f_.done_late),
                 10, true, true);
        } else if (f_.done_late.empty()) {
            text("until it ends", 26, true, true);
            gap(3);
            text(fmt::format("Begun {}. How long it takes is not known.", f_.begun), 5.6, false, true);
        } else {
            text(fmt::format("until {}", f_.done_late), 26, true, true);
            gap(3);
            text(fmt::format("Begun {}. Half of such runs are done by {}, nine in ten by {}.", f_.begun, f_.done_early,
                             f_.done_late),
                 5.6, false, true);
        }
        gap(2);
        text("Cutting power now may ruin the unit. A dark screen is part of it.", 6.4, true, true);
        rule();
    }
    void list(const char* title, const std::vector<std::string>& items, double size) {
        text(title, 8, true);
        for (const std::string& item : items) {
            const double top = y_;
            text(item, size, false, false, 8 * k_);
            page.bars.push_back({kMargin + 1.5 * k_, top + size * k_ * 0.42, 3.4 * k_, 3.4 * k_, true});
        }
        gap(4);
    }
    void foot() {
        rule();
        for (std::size_t i = 0; i < std::min(cautions_, f_.cautions.size()); ++i) text(f_.cautions[i], 3.9, false);
        gap(2);
        text("People come first: smoke, a smell of gas or a person in danger ends every run.", 4.6, true);
        gap(2);
        text(fmt::format("{}{}job {}, to {}{}", f_.workshop, f_.workshop.empty() ? "" : " · ", f_.job, f_.release,
                         f_.ask_for.empty() ? "" : " · ask for " + f_.ask_for),
             5.2, true);
    }

    const PlacardFacts& f_;
    const double k_;
    const std::size_t cautions_;
    double y_ = 0;
};

PlacardFacts harmless(PlacardFacts f) {
    for (std::string* t : {&f.job, &f.workshop, &f.place, &f.release, &f.ask_for}) *t = printable(shortened(*t));
    for (auto* list : {&f.keep, &f.hands, &f.cautions})
        for (std::string& t : *list) t = printable(shortened(t));
    return f;
}

}  // namespace

double width_mm(std::string_view text, double size_mm, bool bold) {
    double thousandths = 0;
    while (!text.empty()) {
        const std::size_t n = std::max<std::size_t>(1, utf8_length(text));
        thousandths += width_of(text.substr(0, n), bold);
        text.remove_prefix(n);
    }
    return thousandths * size_mm / 1000;
}

Placard lay_out(const PlacardFacts& given) {
    const PlacardFacts facts = harmless(given);
    for (std::size_t cautions = facts.cautions.size();; --cautions) {
        for (double scale = 1; scale > 0.595; scale -= 0.05) {
            Layout l(facts, scale, cautions);
            if (l.run()) return l.page;
        }
        if (cautions == 0) break;
    }
    // More holds than a page at 60 % takes: smaller still, but all of them.
    for (double scale = 0.55;; scale *= 0.9) {
        Layout l(facts, scale, 0);
        if (l.run() || scale < 0.05) return l.page;
    }
}

std::string placard_svg(const Placard& p) {
    std::string out = fmt::format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0}mm\" height=\"{1}mm\" viewBox=\"0 0 {0} {1}\" "
        "font-family=\"DejaVu Sans, sans-serif\" fill=\"#000\">\n<rect width=\"{0}\" height=\"{1}\" fill=\"#fff\"/>\n",
        p.w_mm, p.h_mm);
    for (const PlacardBar& b : p.bars)
        out += fmt::format("<rect x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" {}/>\n", b.x_mm, b.y_mm,
                           b.w_mm, b.h_mm,
                           b.filled ? "fill=\"#000\"" : "fill=\"none\" stroke=\"#000\" stroke-width=\"0.5\"");
    for (const PlacardLine& l : p.lines)
        out += fmt::format("<text x=\"{:.2f}\" y=\"{:.2f}\" font-size=\"{:.2f}\"{}{}>{}</text>\n", l.x_mm, l.y_mm,
                           l.size_mm, l.bold ? " font-weight=\"bold\"" : "", l.centred ? " text-anchor=\"middle\"" : "",
                           escape_markup(l.text));
    return out + "</svg>\n";
}

}  // namespace fettle::ready
