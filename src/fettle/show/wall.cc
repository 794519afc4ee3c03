#include "fettle/show/wall.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/time_of_day.h"

namespace fettle::show {
namespace {

std::string clock_in(const workshop::Wall& w, double seconds) {
    return time_of_day(w.at + static_cast<UnixMs>(1000 * seconds));
}

std::string chance(double p) {
    if (p > 0.995) return "all but certain";
    if (p >= 0.5) return fmt::format("{:.0f} in 100", 100 * p);
    return fmt::format("1 in {:.0f}", 1 / p);
}

std::string headline(const workshop::Wall& w) {
    if (w.rows.empty()) return "No run is open.";
    const auto first = std::min_element(w.asks.begin(), w.asks.end(), [](const auto& a, const auto& b) {
        return a.at.quantile(0.5) < b.at.quantile(0.5);
    });
    if (first == w.asks.end())
        return fmt::format("{} open; none needs hands any more.",
                           w.rows.size() == 1 ? "One run is" : fmt::format("{} runs are", w.rows.size()));
    const double from = first->at.quantile(0.1) / 60, to = first->at.quantile(0.9) / 60;
    return to < 0.5 ? fmt::format("Next: {} needs hands now.", first->bench)
                    : fmt::format("Next: {} in {:.0f} to {:.0f} min.", first->bench, from, to);
}

std::string picture(const workshop::Wall& w, int width, bool ascii) {
    std::vector<std::string> labels;
    for (double s : watch::wall_ticks(w.rows, width)) labels.push_back(clock_in(w, s));
    std::string out = "\n";
    for (const std::string& l : watch::wall(w.rows, width, ascii, labels)) out += l + "\n";
    out += "\n";
    for (const watch::WallRow& r : w.rows) out += fmt::format("{}: {}\n", r.bench, r.says);
    return out;
}

void show_clashes(const workshop::Wall& w, Answer& a) {
    json::array pairs;
    for (const watch::Clash& c : w.clashes) {
        const std::string &one = w.asks[c.a].bench, &other = w.asks[c.b].bench;
        a.judgement.add({"hands-clash", Verdict::mind,
                         fmt::format("{} and {} may want hands at once: {}", one, other, chance(c.p)),
                         one + "+" + other, "odds of both runs"});
        pairs.push_back({{"a", one}, {"b", other}, {"p", c.p}});
    }
    a.data["clashes"] = std::move(pairs);
}

void show_next(const workshop::Wall& w, Answer& a) {
    const workshop::Wall::Next& next = *w.next;
    json::object data{{"job", next.name}, {"certainty", next.certainty}};
    if (next.after_s) {
        data["after_s"] = *next.after_s;
        data["no_wait"] = next.no_wait;
        a.text +=
            *next.after_s < 1
                ? fmt::format("Start {} now: nobody waits, at {}.\n", next.name, chance(next.certainty))
                : fmt::format("Start {} in {:.4g} min ({}): then nobody waits, at {}.\n", next.name, *next.after_s / 60,
                              clock_in(w, *next.after_s), next.certainty >= 1 ? "certainty" : chance(next.certainty));
    } else {
        a.judgement.add({"no-free-start", Verdict::cant_say,
                         "no start within four hours keeps the hands free at that certainty", next.name,
                         "odds of all runs"});
    }
    a.data["next"] = std::move(data);
}

}  // namespace

Answer wall(const workshop::Wall& w, int width, bool ascii) {
    width = std::clamp(width, 48, 400);
    Answer a;
    a.headline = headline(w);
    a.judgement = w.judgement;
    if (!w.rows.empty()) a.text = picture(w, width, ascii);
    json::array runs;
    for (const watch::WallRow& r : w.rows)
        runs.push_back({{"job", r.bench}, {"sentence", r.says}, {"end_in_p50_s", r.end_s}});
    a.data["runs"] = std::move(runs);
    show_clashes(w, a);
    if (w.next) show_next(w, a);
    a.width = std::max<std::size_t>(a.width, static_cast<std::size_t>(width));
    return a;
}

}  // namespace fettle::show
