#include "fettle/show/plan_picture.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/watch/strip.h"

namespace fettle::show {
namespace {

using namespace plan;

constexpr std::size_t most_lanes = 4;  // the recommended way and three others
constexpr std::size_t most_rows = 40;

struct Row {
    std::string release, notes;
    bool here = false;  // installed now
    bool on_shelf = true;
    bool reachable = true;
    bool door = false;
};

const PlanStep* step_to(const Plan& p, const std::string& release) {
    const auto at =
        std::find_if(p.steps.begin(), p.steps.end(), [&](const auto& s) { return s.release.release == release; });
    return at == p.steps.end() ? nullptr : &*at;
}

bool shows(const Plan& p, const std::string& release) {
    return std::any_of(p.set.begin(), p.set.end(), [&](const auto& b) { return b.second.release == release; });
}

// Oldest first, as the route answer has them; what is installed now is among them even if nobody knows which release
// that is.
std::vector<Row> rows_of(const Plan& p) {
    std::vector<Row> rows;
    for (const auto& r : p.route.releases) {
        Row row{r.release, "", shows(p, r.release), r.on_shelf, r.reachable, false};
        std::vector<std::string> notes;
        if (row.here) notes.emplace_back("installed now");
        if (const PlanStep* s = step_to(p, r.release)) {
            row.door = s->one_way_door;
            notes.push_back(fmt::format("step {}, half {}, nine in ten {}", s - p.steps.data() + 1,
                                        time_words(s->forecast, s->forecast.total.p50_s),
                                        time_words(s->forecast, s->forecast.total.p90_s)));
            if (s->stepping_stone) notes.emplace_back("stepping stone");
            if (s->one_way_door) notes.emplace_back("ONE-WAY DOOR");
        } else if (!r.on_shelf && !row.here) {
            notes.emplace_back("not on the shelf");
        } else if (!r.reachable && !row.here) {
            notes.emplace_back("no route leads to it");
        }
        row.notes = join(notes, "; ");
        rows.push_back(std::move(row));
    }
    const bool there = std::any_of(rows.begin(), rows.end(), [](const Row& r) { return r.here; });
    if (!there && !p.set.empty()) rows.insert(rows.begin(), {"as found", "installed now", true, true, true, false});
    return rows;
}

// Rows that a way comes by, by number: where it starts, and each step.
std::vector<std::size_t> stops(const std::vector<Row>& rows, const route::Route& way) {
    std::vector<std::size_t> out;
    const auto add = [&](auto says) {
        const auto at = std::find_if(rows.begin(), rows.end(), says);
        if (at != rows.end()) out.push_back(static_cast<std::size_t>(at - rows.begin()));
    };
    add([](const Row& r) { return r.here; });
    for (const auto& s : way.steps) add([&](const Row& r) { return r.release == s.release; });
    return out;
}

std::vector<route::Route> lanes_of(const Plan& p) {
    std::vector<route::Route> lanes;
    if (p.route.recommended && !p.route.recommended->steps.empty()) lanes.push_back(*p.route.recommended);
    for (const auto& o : p.route.others) {
        if (lanes.size() < most_lanes) lanes.push_back(o);
    }
    return lanes;
}

// --- paper -----------------------------------------------------------------------------------------------------------

constexpr double width = 760, row_height = 34, lane_width = 26;

std::string text_at(double x, double y, std::string_view words, std::string_view more = "") {
    return fmt::format(R"(<text x="{:.1f}" y="{:.1f}"{}>{}</text>)", x, y, more, escape_markup(words));
}

std::string graph_svg(const Plan& p, double& height) {
    const auto rows = rows_of(p);
    const auto lanes = lanes_of(p);
    const std::size_t shown = std::min(rows.size(), most_rows), first = rows.size() - shown;
    const double top = 44;
    height = top + row_height * static_cast<double>(shown) + 8;
    const auto y = [&](std::size_t row) {
        return top + row_height * (static_cast<double>(rows.size() - 1 - std::max(row, first)) + 0.5);
    };
    const double names = 24 + lane_width * static_cast<double>(std::max<std::size_t>(1, lanes.size())) + 10;
    std::string out = text_at(6, 26, p.steps.empty() ? "The releases, newest first" : "The way, newest release first",
                              R"( font-size="20")");
    for (std::size_t l = lanes.size(); l-- > 0;) {  // the recommended one last, on top
        const double x = 24 + lane_width * static_cast<double>(l);
        const auto at = stops(rows, lanes[l]);
        for (std::size_t i = 1; i < at.size(); ++i)
            out += fmt::format(
                R"(<line x1="{0:.1f}" y1="{1:.1f}" x2="{0:.1f}" y2="{2:.1f}" stroke="#111111" stroke-width="{3}"{4}/>)",
                x, y(at[i - 1]), y(at[i]), l == 0 ? 4 : 1.6, l == 0 ? "" : R"( stroke-dasharray="5 4")");
        for (const std::size_t row : at)
            out += rows[row].here
                       ? fmt::format(R"(<circle cx="{:.1f}" cy="{:.1f}" r="7" fill="#ffffff" stroke="#111111" )"
                                     R"(stroke-width="2.4"/>)",
                                     x, y(row))
                       : fmt::format(R"(<circle cx="{:.1f}" cy="{:.1f}" r="{}" fill="#111111"/>)", x, y(row),
                                     l == 0 ? 7 : 4.5);
    }
    for (std::size_t i = first; i < rows.size(); ++i) {
        const Row& r = rows[i];
        const bool way = step_to(p, r.release) != nullptr;
        if (r.door)  // a door: two posts and a bar below the release that shuts it
            out += fmt::format(R"(<path d="M8 {0:.1f} h{1:.1f} M8 {2:.1f} v-8 M{3:.1f} {2:.1f} v-8" fill="none" )"
                               R"(stroke="#111111" stroke-width="2.4"/>)",
                               y(i) + row_height / 2, names - 20, y(i) + row_height / 2 + 4, names - 12);
        out += text_at(names, y(i) + 6, r.release,
                       way          ? R"( font-weight="bold")"
                       : r.on_shelf ? ""
                                    : R"( font-style="italic")");
        out += text_at(names + 120, y(i) + 6, r.notes, R"( font-size="15")");
    }
    return out;
}

// The strip as it stands before the start; its own sentences are about a run that there is not yet.
watch::Where before_start(const watch::Step& step) {
    watch::Where where = watch::track(step, {}, 0);
    where.sentence.clear();
    where.pace.clear();
    return where;
}

double height_of(const std::string& svg) {
    const std::string key = R"(viewBox="0 0 760 )";
    const auto at = svg.find(key);
    return at == std::string::npos ? 0 : std::strtod(svg.c_str() + at + key.size(), nullptr);
}

}  // namespace

std::vector<std::string> route_graph(const Plan& p, bool ascii) {
    const auto rows = rows_of(p);
    const auto lanes = lanes_of(p);
    std::vector<std::string> out;
    const std::size_t shown = std::min(rows.size(), most_rows);
    for (std::size_t n = 0; n < shown; ++n) {
        const std::size_t i = rows.size() - 1 - n;
        std::string line, below;
        for (std::size_t l = 0; l < lanes.size(); ++l) {
            const auto at = stops(rows, lanes[l]);
            const auto [low, high] = std::minmax_element(at.begin(), at.end());
            const bool within = !at.empty() && i >= *low && i <= *high;
            const bool stop = std::find(at.begin(), at.end(), i) != at.end();
            const char* rail = l == 0 ? (ascii ? "|" : "┃") : (ascii ? ":" : "┊");
            line += stop ? (rows[i].here ? (ascii ? "o" : "○") : (ascii ? "*" : "●")) : within ? rail : " ";
            line += " ";
            below += within && i > *low ? (l == 0 && rows[i].door ? (ascii ? "=" : "═") : rail) : " ";
            below += " ";
        }
        out.push_back(fmt::format("{}{:<12} {}", line, rows[i].release, rows[i].notes));
        if (rows[i].door) out.push_back(below + (ascii ? "== no return" : "══ no return"));
    }
    if (shown < rows.size()) out.push_back(fmt::format("and {} older", rows.size() - shown));
    for (std::string& l : out) {
        while (!l.empty() && l.back() == ' ') l.pop_back();
    }
    return out;
}

std::vector<std::string> step_strip(const PlanStep& step, const family::Family& family, bool ascii) {
    const watch::Step s{family, step.sheet, step.forecast, step.map};
    watch::StripStyle style;
    style.ascii = ascii;
    style.sentence = false;
    auto lines = watch::strip(s, {}, before_start(s), 0, {}, style);
    const auto now =
        std::find_if(lines.begin(), lines.end(), [](const auto& l) { return l.rfind("If power went", 0) == 0; });
    lines.erase(now, lines.end());
    while (!lines.empty() && lines.back().empty()) lines.pop_back();
    return lines;
}

std::string plan_as_svg(const Plan& p, const family::Family& family) {
    double height = 0;
    std::string body = graph_svg(p, height);
    for (std::size_t i = 0; i < p.steps.size(); ++i) {
        const PlanStep& step = p.steps[i];
        const watch::Step s{family, step.sheet, step.forecast, step.map};
        watch::Where where = before_start(s);
        where.sentence = fmt::format("Step {}: {}. Half of such runs {} or less, nine in ten {} or less.", i + 1,
                                     step.release.release, time_words(step.forecast, step.forecast.total.p50_s),
                                     time_words(step.forecast, step.forecast.total.p90_s));
        std::string strip = watch::strip_svg(s, {}, where, 0);
        const double own = height_of(strip);
        strip.replace(0, 5,
                      fmt::format(R"(<svg x="0" y="{:.0f}" width="{:.0f}" height="{:.0f}" )", height, width, own));
        body += strip;
        height += own + 12;
    }
    return fmt::format(
        R"(<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {0:.0f} {1:.0f}" width="{0:.0f}" )"
        R"(height="{1:.0f}" role="img" font-family="DejaVu Sans, Liberation Sans, sans-serif" )"
        R"(font-size="17" fill="#111111"><title>Plan: {2}</title><rect width="{0:.0f}" height="{1:.0f}" )"
        R"(fill="#ffffff"/>{3}</svg>)"
        "\n",
        width, height, escape_markup(p.to), body);
}

}  // namespace fettle::show
