// The card map in characters.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/card_map.h"

namespace fettle::card {
namespace {

constexpr std::size_t most_trouble = 12;

std::string mark(const Spot* s, bool ascii) {
    if (!s) return " ";
    switch (s->ground) {
        case Ground::outside: return " ";
        case Ground::free: return ascii ? "." : "·";
        case Ground::other: return ascii ? "o" : "▒";
        case Ground::lost: return "?";
        case Ground::file: return s->number % 2 ? (ascii ? "#" : "█") : (ascii ? "%" : "▓");
        case Ground::folder: return "D";
        case Ground::fat: return "F";
        case Ground::boot: return "B";
        case Ground::table: return "T";
        case Ground::trouble: break;
    }
    return "!";
}

std::string strip_of(const CardMap& map, std::uint64_t to, std::size_t columns, bool ascii) {
    std::string out = "|";
    for (const Spot* s : columns_of(map, 0, to, columns)) out += mark(s, ascii);
    return out + "|";
}

std::string axis_of(std::uint64_t to, std::size_t columns, const std::string& left) {
    const std::string right = place_of(to);
    const std::size_t used = left.size() + right.size();
    return left + std::string(columns + 2 > used ? columns + 2 - used : 1, ' ') + right;
}

}  // namespace

std::vector<std::string> map_text(const CardMap& map, const MapStyle& style) {
    const std::size_t columns = std::max<std::size_t>(style.width, 40) - 2;
    std::vector<std::string> out;
    const auto one = [&](const char* what, std::uint64_t to) {
        const std::string each = to < columns ? "less than a byte" : place_of(to / columns);
        out.push_back(axis_of(to, columns, fmt::format("{}, each mark {}", what, each)));
        out.push_back(strip_of(map, to, columns, style.ascii));
    };
    one("whole card", map.card_bytes);
    if (const std::uint64_t to = zoom_end(map); to != 0 && to < map.card_bytes / 4 * 3) one("used part", to);

    const auto has = [&](Ground g) {
        return std::any_of(map.spots.begin(), map.spots.end(), [&](const Spot& s) { return s.ground == g; });
    };
    std::string legend;
    const auto tell = [&](Ground g, const std::string& words) {
        if (has(g)) legend += (legend.empty() ? "" : "   ") + words;
    };
    tell(Ground::table, "T table");
    tell(Ground::boot, "B boot sectors");
    tell(Ground::fat, "F FATs");
    tell(Ground::folder, "D folders");
    tell(Ground::file, style.ascii ? "# % files in turn" : "█ ▓ files in turn");
    tell(Ground::lost, "? lost");
    tell(Ground::other, style.ascii ? "o not looked into" : "▒ not looked into");
    tell(Ground::free, style.ascii ? ". free" : "· free");
    tell(Ground::trouble, "! trouble");
    if (!legend.empty()) out.push_back(legend);
    out.emplace_back("Where several share one mark, the one named first here shows; trouble shows over all.");

    std::size_t told = 0, left = 0;
    for (const auto& s : map.spots) {
        if (s.ground != Ground::trouble) continue;
        if (told++ < most_trouble)
            out.push_back(fmt::format("! at {}, {}: {}", place_of(s.at), place_of(s.length), s.name));
        else
            ++left;
    }
    if (left) out.push_back(fmt::format("! and {} more spots", left));
    return out;
}

}  // namespace fettle::card
