// Section screen: the grid that the touch test draws, and whether the areas that asks name are on it.
#include <fmt/core.h>

#include <algorithm>
#include <tuple>

#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

// "[5, 4]" → column and row; a list of another length is a mistake and gives 1, 1.
std::pair<int, int> read_cell(Section& s, std::string_view key) {
    std::vector<int> values;
    s.numbers(key, Need::must, [&](std::int64_t v, const std::string&) {
        values.push_back(static_cast<int>(std::clamp<std::int64_t>(v, -1, 100)));
    });
    if (values.size() == 2) return {values[0], values[1]};
    if (s.has(key))
        s.log().mistake(s.at(key), fmt::format("holds {} numbers, expected a column and a row", values.size()),
                        "write it as [5, 4]");
    return {1, 1};
}

}  // namespace

void read_touch(Section& top, Family& f) {
    top.tables("screen", Need::may, [&](Section& s) {
        TouchScreen screen;
        screen.box = s.text("box", Need::must);
        screen.columns = static_cast<int>(s.integer("columns", Need::must, 1, 24).value_or(0));
        screen.rows = static_cast<int>(s.integer("rows", Need::must, 1, 16).value_or(0));
        s.tables("area", Need::may, [&](Section& a) {
            TouchArea area;
            area.name = a.text("name", Need::must);
            std::tie(area.left, area.top) = read_cell(a, "from");
            std::tie(area.right, area.bottom) = read_cell(a, "to");
            screen.areas.push_back(std::move(area));
        });
        f.screens.push_back(std::move(screen));
    });
}

void check_touch(const Family& f, Log& log) {
    std::vector<std::string> boxes;
    for (std::size_t i = 0; i < f.screens.size(); ++i) {
        const TouchScreen& s = f.screens[i];
        const std::string key = fmt::format("screen[{}]", i + 1);
        boxes.push_back(s.box);
        if (!s.box.empty() && !f.box(s.box))
            log.mistake(key + ".box", fmt::format("is \"{}\"; the boxes are {}", printable(s.box), roles_of(f)),
                        "name one of these boxes");
        std::vector<std::string> areas;
        for (const TouchArea& a : s.areas) areas.push_back(a.name);
        check_unique(log, key + ".area", "name", areas, "area");
        for (std::size_t k = 0; k < s.areas.size(); ++k) {
            const TouchArea& a = s.areas[k];
            const bool inside = a.left >= 1 && a.top >= 1 && a.left <= a.right && a.top <= a.bottom &&
                                a.right <= s.columns && a.bottom <= s.rows;
            if (!inside && s.columns > 0 && s.rows > 0)
                log.mistake(fmt::format("{}.area[{}]", key, k + 1),
                            fmt::format("\"{}\" reaches from {},{} to {},{}, the screen has {} columns and {} rows",
                                        printable(a.name), a.left, a.top, a.right, a.bottom, s.columns, s.rows),
                            "count cells from 1 at the upper left corner, the first cell first");
        }
    }
    check_unique(log, "screen", "box", boxes, "screen");
    for (std::size_t i = 0; i < f.script.size(); ++i) {
        const Act& act = f.script[i];
        if (act.area.empty()) continue;
        const auto screen =
            std::find_if(f.screens.begin(), f.screens.end(), [&](const TouchScreen& s) { return s.box == act.box; });
        if (screen == f.screens.end()) continue;
        std::vector<std::string> names;
        for (const TouchArea& a : screen->areas) names.push_back(a.name);
        if (std::find(names.begin(), names.end(), act.area) != names.end()) continue;
        log.mistake(fmt::format("act[{}].area", i + 1),
                    fmt::format("is \"{}\"; the screen of the {} box has {}", printable(act.area), act.box,
                                names.empty() ? "no area" : "the areas " + join(names, ", ")),
                    "add a [[screen.area]] of that name, or name one of these");
    }
}

}  // namespace fettle::family
