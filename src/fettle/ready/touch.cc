#include "fettle/ready/touch.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/ready/told.h"

namespace fettle::ready {
namespace {

// "lower right" on a grid of 3 by 3: a word for the row, a word for the column, either may be missing ("left").
bool place_by_words(std::string_view area, family::TouchArea& out) {
    out.left = out.top = 1;
    out.right = out.bottom = 3;
    int known = 0;
    for (const std::string& word : split(area, ' ')) {
        const auto row = [&](int r) { out.top = out.bottom = r, ++known; };
        const auto column = [&](int c) { out.left = out.right = c, ++known; };
        if (word == "upper" || word == "top") row(1);
        if (word == "lower" || word == "bottom") row(3);
        if (word == "left") column(1);
        if (word == "right") column(3);
        if (word == "middle" || word == "centre" || word == "center") {
            // of what the other word leaves open
            if (out.top != out.bottom) out.top = out.bottom = 2;
            if (out.left != out.right) out.left = out.right = 2;
            ++known;
        }
    }
    return known > 0;
}

char sign(const std::string& state) {
    return state == "answers" ? '+' : state == "dead" ? 'x' : '?';
}

}  // namespace

std::vector<TouchTest> touch_tests(const family::Family& family, const Told& told) {
    std::vector<TouchTest> out;
    for (const family::Act& act : family.script) {
        if (act.kind != family::ActKind::ask || act.control != "touch") continue;
        auto test = std::find_if(out.begin(), out.end(), [&](const TouchTest& t) { return t.box == act.box; });
        if (test == out.end()) {
            TouchTest t;
            t.box = act.box;
            const family::Box* box = family.box(act.box);
            t.words = box ? box->words : act.box;
            const auto screen = std::find_if(family.screens.begin(), family.screens.end(),
                                             [&](const family::TouchScreen& s) { return s.box == act.box; });
            t.by_words = screen == family.screens.end();
            t.columns = t.by_words ? 3 : screen->columns;
            t.rows = t.by_words ? 3 : screen->rows;
            test = out.insert(out.end(), std::move(t));
        }
        const std::string wanted = act.words + (act.shows.empty() ? "" : " (\"" + act.shows + "\")");
        const auto same = std::find_if(test->needs.begin(), test->needs.end(),
                                       [&](const TouchNeed& n) { return n.area == act.area; });
        if (same != test->needs.end()) {
            same->wanted_by += "; " + wanted;
            continue;
        }
        TouchNeed n;
        n.number = static_cast<int>(test->needs.size()) + 1;
        n.area = act.area;
        n.key = act.area.empty() ? "touch" : "touch." + key_part(act.area);
        n.wanted_by = wanted;
        n.state = tested(told, act, "touch");
        n.placed = false;
        if (test->by_words) {
            n.placed = place_by_words(act.area, n.cells);
        } else {
            for (const family::TouchScreen& s : family.screens) {
                if (s.box != act.box) continue;
                for (const family::TouchArea& a : s.areas) {
                    if (a.name != act.area) continue;
                    n.cells = a;
                    n.placed = true;
                }
            }
        }
        test->needs.push_back(std::move(n));
    }
    return out;
}

std::vector<std::string> draw(const TouchTest& test, bool ascii) {
    const auto inside = [&](const TouchNeed& n, int c, int r) {
        return n.placed && c >= n.cells.left && c <= n.cells.right && r >= n.cells.top && r <= n.cells.bottom;
    };
    const std::size_t room =
        std::max<std::size_t>(2, std::min<std::size_t>(9, 74 / static_cast<std::size_t>(test.columns) - 1));
    const std::size_t height = test.rows <= 4 ? 3 : 1;
    const std::string across = ascii ? "-" : "─", down = ascii ? "|" : "│";
    const auto rule = [&](const char* left, const char* middle, const char* right) {
        std::string line = "    " + std::string(left);
        for (int c = 0; c < test.columns; ++c) {
            for (std::size_t i = 0; i < room; ++i) line += across;
            line += c + 1 == test.columns ? right : middle;
        }
        return line;
    };
    std::vector<std::string> out;
    out.push_back(rule(ascii ? "+" : "┌", ascii ? "+" : "┬", ascii ? "+" : "┐"));
    for (int r = 1; r <= test.rows; ++r) {
        for (std::size_t h = 0; h < height; ++h) {
            std::string line = "    " + down;
            for (int c = 1; c <= test.columns; ++c) {
                std::string cell;
                for (const TouchNeed& n : test.needs)
                    if (inside(n, c, r)) cell += (cell.empty() ? "" : " ") + std::to_string(n.number) + sign(n.state);
                if (h != height / 2 || cell.size() > room) cell = cell.size() > room && h == height / 2 ? "*" : "";
                const std::size_t left = (room - cell.size()) / 2;
                line += std::string(left, ' ') + cell + std::string(room - cell.size() - left, ' ') + down;
            }
            out.push_back(std::move(line));
        }
        if (r < test.rows) out.push_back(rule(ascii ? "+" : "├", ascii ? "+" : "┼", ascii ? "+" : "┤"));
    }
    out.push_back(rule(ascii ? "+" : "└", ascii ? "+" : "┴", ascii ? "+" : "┘"));
    for (const TouchNeed& n : test.needs) {
        const std::string where = n.area.empty() ? std::string("anywhere") : n.area;
        const std::string state = n.state.empty() ? "not tried" : n.state;
        out.push_back(fmt::format("    {}{}  {}{}: {} — {}={}", n.number, sign(n.state), where,
                                  n.placed ? "" : " (not on the grid: nothing says where)", state, n.key,
                                  n.state.empty() ? "answers or dead" : n.state));
        out.push_back("        needed when it " + n.wanted_by);
    }
    if (test.by_words)
        out.push_back("    Drawn by the areas' words; the family file gives no [[screen]] for this box.");
    return out;
}

}  // namespace fettle::ready
