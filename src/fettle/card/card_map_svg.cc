// The card map on paper: the whole card, and below it the used part on a larger scale. What matters is told by shape
// and letter, never by a shade alone.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/card_map.h"

namespace fettle::card {
namespace {

constexpr double left = 14, right = 746, whole_top = 58, whole_bottom = 82, used_top = 136, used_bottom = 196;
constexpr std::size_t most_trouble = 8, most_rects = 4000;

const char* fill_of(const Spot& s) {
    switch (s.ground) {
        case Ground::outside: return "#e4e4e4";
        case Ground::free: return "#ffffff";
        case Ground::other: return "url(#other)";
        case Ground::lost: return "url(#lost)";
        case Ground::file: return s.number % 2 ? "#8fb3cc" : "#c3d8e6";
        case Ground::folder: return "url(#folder)";
        case Ground::fat: return "url(#fat)";
        case Ground::boot: return "#6b6b6b";
        case Ground::table: return "#111111";
        case Ground::trouble: break;
    }
    return "#c62828";
}

class Svg {
public:
    Svg(const CardMap& map, std::string_view title) : map_(map), title_(title) {}

    std::string draw() {
        const bool zoom = zoom_end(map_) != 0 && zoom_end(map_) < map_.card_bytes / 4 * 3;
        std::string body;
        out_.swap(body);
        text(left, 24, title_, R"( font-size="15")");
        strip(map_.card_bytes, whole_top, whole_bottom);
        scale(map_.card_bytes, whole_top - 12, "whole card");  // above the points of trouble
        double y = whole_bottom + 24;
        if (zoom) {
            const double to = left + (right - left) * static_cast<double>(zoom_end(map_)) /
                                         static_cast<double>(std::max<std::uint64_t>(map_.card_bytes, 1));
            for (const auto& [x0, x1] : {std::pair{left, left}, std::pair{to, right}})
                out_ += fmt::format(R"(<line x1="{:.1f}" y1="{}" x2="{:.1f}" y2="{}" stroke="#111111" )"
                                    R"(stroke-dasharray="3 3"/>)",
                                    x0, whole_bottom, x1, used_top);
            strip(zoom_end(map_), used_top, used_bottom);
            scale(zoom_end(map_), used_bottom + 16, "used part");
            y = used_bottom + 42;
        }
        y = legend(y);
        y = trouble(y);
        body.swap(out_);
        out_ = fmt::format(R"(<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 760 {:.0f}" role="img" )"
                           R"(font-family="DejaVu Sans, Liberation Sans, sans-serif" font-size="12" fill="#111111">)",
                           y + 6);
        out_ += fmt::format("<title>{}</title>", escape_markup(title_));
        out_ +=
            R"svg(<defs><pattern id="fat" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">)svg"
            R"(<rect width="6" height="6" fill="#ffffff"/><line x1="0" y1="0" x2="0" y2="6" stroke="#111111" stroke-width="3"/></pattern>)"
            R"(<pattern id="folder" width="5" height="5" patternUnits="userSpaceOnUse"><rect width="5" height="5" fill="#ffffff"/>)"
            R"(<circle cx="2" cy="2" r="1.3" fill="#111111"/></pattern>)"
            R"(<pattern id="lost" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#ffffff"/>)"
            R"(<path d="M0 4h8M4 0v8" stroke="#111111" stroke-width="0.8"/></pattern>)"
            R"(<pattern id="other" width="8" height="8" patternUnits="userSpaceOnUse"><rect width="8" height="8" fill="#ffffff"/>)"
            R"(<path d="M0 2h8M0 6h8" stroke="#111111" stroke-width="1"/></pattern></defs>)";
        out_ += fmt::format(R"(<rect width="760" height="{:.0f}" fill="#ffffff"/>)", y + 6);
        return out_ + body + "</svg>\n";
    }

private:
    void text(double x, double y, std::string_view words, std::string_view more = "") {
        out_ += fmt::format(R"(<text x="{:.1f}" y="{:.1f}"{}>{}</text>)", x, y, more, escape_markup(words));
    }

    // Spots too small to be seen would vanish: what wins in each half unit of width is drawn, neighbours joined.
    void strip(std::uint64_t to, double top, double bottom) {
        constexpr std::size_t cells = static_cast<std::size_t>((right - left) * 2);
        const auto cell = columns_of(map_, 0, to, cells);
        std::size_t rects = 0;
        std::string last;  // over the rest
        for (std::size_t i = 0; i < cells && rects < most_rects;) {
            std::size_t j = i;
            while (j < cells && cell[j] == cell[i]) ++j;
            if (cell[i]) {
                const Spot& s = *cell[i];
                const bool small = s.ground == Ground::table || s.ground == Ground::trouble;  // and must be seen
                const double x = left + static_cast<double>(i) / 2;
                const double w = std::max(small ? 4.0 : 1.5, static_cast<double>(j - i) / 2);
                (small ? last : out_) += fmt::format(
                    R"(<rect x="{:.1f}" y="{}" width="{:.1f}" height="{}" fill="{}"><title>{}</title></rect>)", x, top,
                    w, bottom - top, fill_of(s),
                    escape_markup(fmt::format("{} at {}, {}{}{}", words(s.ground), place_of(s.at), place_of(s.length),
                                              s.name.empty() ? "" : ": ", s.name)));
                ++rects;
                if (s.ground == Ground::trouble)
                    last += fmt::format(R"(<path d="M{:.1f} {} l-5 -8 h10 z" fill="#111111"/>)", x + w / 2, top);
            }
            i = j;
        }
        out_ += last;
        out_ += fmt::format(R"(<rect x="{}" y="{}" width="{}" height="{}" fill="none" stroke="#111111"/>)", left, top,
                            right - left, bottom - top);
    }

    void scale(std::uint64_t to, double y, const char* what) {
        text(left, y, what);
        text(right, y, place_of(to), R"( text-anchor="end")");
    }

    double legend(double y) {
        double x = left;
        const auto tell = [&](Ground g, const char* words) {
            const auto it =
                std::find_if(map_.spots.begin(), map_.spots.end(), [&](const Spot& s) { return s.ground == g; });
            if (it == map_.spots.end()) return;
            if (x > right - 110) {
                x = left;
                y += 20;
            }
            out_ += fmt::format(R"(<rect x="{:.1f}" y="{:.1f}" width="18" height="12" fill="{}" stroke="#111111" )"
                                R"(stroke-width="0.7"/>)",
                                x, y - 10, fill_of(*it));
            text(x + 24, y, words);
            x += 40 + 7.4 * static_cast<double>(std::string_view(words).size());
        };
        tell(Ground::table, "table");
        tell(Ground::boot, "boot sectors");
        tell(Ground::fat, "FATs");
        tell(Ground::folder, "folders");
        tell(Ground::file, "files, two shades in turn");
        tell(Ground::free, "free");
        tell(Ground::lost, "lost");
        tell(Ground::other, "not looked into");
        tell(Ground::outside, "outside the volume");
        tell(Ground::trouble, "trouble, with a point above");
        return y + 20;
    }

    double trouble(double y) {
        std::size_t told = 0, more = 0;
        for (const auto& s : map_.spots) {
            if (s.ground != Ground::trouble) continue;
            if (told++ >= most_trouble) {
                ++more;
                continue;
            }
            std::string line = fmt::format("at {}, {}: {}", place_of(s.at), place_of(s.length), s.name);
            if (line.size() > 104) {  // cut between characters
                std::size_t end = 100;
                while (end > 0 && (line[end] & 0xC0) == 0x80) --end;
                line = line.substr(0, end) + " …";
            }
            text(left, y, line);
            y += 17;
        }
        if (more) {
            text(left, y, fmt::format("and {} more spots of trouble", more));
            y += 17;
        }
        return y;
    }

    const CardMap& map_;
    std::string title_;
    std::string out_;
};

}  // namespace

std::string map_svg(const CardMap& map, std::string_view title) {
    return Svg(map, title).draw();
}

}  // namespace fettle::card
