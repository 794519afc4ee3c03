// fettle watch --all: every open run of the book on one clock, and when to start the next job.
#include <fmt/core.h>

#include <algorithm>
#include <charconv>
#include <ctime>

#include "cmd_watch.h"
#include "fettle/base/text.h"
#include "fettle/watch/wall.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/supply_record.h"

namespace fettle::app {

std::string time_of_day(UnixMs t) {
    const std::time_t s = static_cast<std::time_t>(t / 1000);
    std::tm local{};
    ::localtime_r(&s, &local);
    return fmt::format("{:02}:{:02}", local.tm_hour, local.tm_min);
}

namespace {

std::optional<double> minutes(std::string_view text) {
    double v = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), v);
    if (error != std::errc() || end != text.data() + text.size() || !(v >= 0) || v > 100000) return std::nullopt;
    return v;
}

// "bench 2=22-28+3": asks for hands in 22 to 28 min, for 3 min.
Result<watch::HandsAsk> window_of(const std::string& text) {
    const auto wrong = [&] {
        return usage_error("window-unreadable", printable(text), "no NAME=FROM-TO+HANDS in minutes",
                           "say it like --window \"bench 2=22-28+3\"");
    };
    const auto eq = text.rfind('='), dash = text.find('-', eq == std::string::npos ? 0 : eq),
               plus = text.find('+', dash == std::string::npos ? 0 : dash);
    if (eq == std::string::npos || eq == 0 || dash == std::string::npos || plus == std::string::npos) return wrong();
    const auto from = minutes(std::string_view(text).substr(eq + 1, dash - eq - 1));
    const auto to = minutes(std::string_view(text).substr(dash + 1, plus - dash - 1));
    const auto hands = minutes(std::string_view(text).substr(plus + 1));
    if (!from || !to || !hands || *to < *from) return wrong();
    return watch::HandsAsk{text.substr(0, eq), "asks for hands", watch::evenly(60 * *from, 60 * *to), 60 * *hands};
}

// When the acts of a step that need hands begin, from its start.
std::vector<watch::HandsAsk> asks_of(const PlanStep& step, const family::Family& family, bool on_bench,
                                     const std::string& bench, double hands_s) {
    std::vector<watch::HandsAsk> out;
    if (!step.forecast.by_state) return out;
    std::vector<double> begun(static_cast<std::size_t>(forecast::draws), 0.0);
    for (std::size_t i = 0; i < family.script.size() && i < step.forecast.by_state->seconds.size(); ++i) {
        const family::Act& a = family.script[i];
        if (a.kind == family::ActKind::ask || (on_bench && !a.wake.empty()))
            out.push_back({bench, a.words, watch::from_draws(begun, 5), hands_s});
        const auto& column = step.forecast.by_state->seconds[i];
        for (std::size_t d = 0; d < begun.size() && d < column.size(); ++d) begun[d] += column[d];
    }
    return out;
}

std::string chance(double p) {
    if (p > 0.995) return "all but certain";
    if (p >= 0.5) return fmt::format("{:.0f} in 100", 100 * p);
    return fmt::format("1 in {:.0f}", 1 / p);
}

struct Next {
    std::string name;
    std::vector<watch::HandsAsk> asks;
};

Result<Next> next_job(Context& context, const WatchOptions& o) {
    Next out;
    if (o.next.find('=') != std::string::npos) {  // typed, as the windows are
        auto w = window_of(o.next);
        if (!w) return pass(w);
        out.name = w->bench;
        out.asks.push_back(std::move(*w));
        return out;
    }
    auto run = load_job_run(context, o.next);
    if (!run) return pass(run);
    out.name = "job " + run->number;
    auto step = run->step(0);
    if (!step) return pass(step);
    out.asks = asks_of(**step, run->family, run->on_bench(), run->number, 60 * o.hands_min);
    return out;
}

}  // namespace

Result<Answer> watch_wall(Context& context, const WatchOptions& o) {
    if (!(o.certainty > 0) || o.certainty > 1)
        return usage_error("certainty-range", "--certainty", "is no chance", "give a figure above 0, up to 1: 0.95");
    const UnixMs now = context.clock->now();
    std::vector<watch::WallRow> rows;
    Answer a;
    std::error_code ignored;
    std::vector<std::string> numbers;
    if (std::filesystem::exists(context.book_file(), ignored)) {
        auto opened = existing_book(context);
        if (!opened) return pass(opened);
        auto all = opened->jobs();
        if (!all) return pass(all);
        numbers = std::move(*all);
    }
    boost::json::array runs;
    for (const std::string& number : numbers) {
        auto job = load_job(context, number);
        if (!job) {
            a.judgement.add({"job-not-shown", Verdict::cant_say,
                             "job " + number + " is not shown: " + job.error().problem, number, "journal"});
            continue;
        }
        if (!job->is_open_run()) continue;
        auto run = load_last_run(context, number);
        if (!run) {
            a.judgement.add({"job-not-shown", Verdict::cant_say,
                             "job " + number + " is not shown: " + run.error().problem, number, "journal"});
            continue;
        }
        const book::Run& which = run->job.runs.back();
        const Look look{recorded_supply(context, number, run->job.runs.size(), which).samples, {60 * o.lead_min, 0.8}};
        const Drawn d = draw_run(*run, which, now, {}, look);
        watch::WallRow row{number, d.where.sentence, {}, d.where.end_p50_s, false};
        for (const watch::HandsWindow& h : d.where.hands) {
            row.hands_now = row.hands_now || h.now;
            row.asks.push_back(
                {number, h.words, h.now ? watch::evenly(0, 0) : watch::from_draws(h.draws_s, 5), 60 * o.hands_min});
        }
        runs.push_back({{"job", number}, {"sentence", d.where.sentence}, {"end_in_p50_s", d.where.end_p50_s}});
        rows.push_back(std::move(row));
    }
    for (const std::string& text : o.windows) {
        auto w = window_of(text);
        if (!w) return pass(w);
        runs.push_back({{"job", w->bench}, {"sentence", "asks for hands as typed"}, {"end_in_p50_s", 0}});
        rows.push_back({w->bench, "asks for hands as typed", {*w}, 0, false});
    }
    std::vector<watch::HandsAsk> there;
    for (const watch::WallRow& r : rows) there.insert(there.end(), r.asks.begin(), r.asks.end());
    const auto clashes = watch::clashes(there);

    const watch::HandsAsk* first = nullptr;
    for (const watch::HandsAsk& ask : there) {
        if (!first || ask.at.quantile(0.5) < first->at.quantile(0.5)) first = &ask;
    }
    if (rows.empty()) {
        a.headline = "No run is open.";
    } else if (!first) {
        a.headline = fmt::format("{} open; none needs hands any more.",
                                 rows.size() == 1 ? "One run is" : fmt::format("{} runs are", rows.size()));
    } else {
        const double from = first->at.quantile(0.1) / 60, to = first->at.quantile(0.9) / 60;
        a.headline = to < 0.5 ? fmt::format("Next: {} needs hands now.", first->bench)
                              : fmt::format("Next: {} in {:.0f} to {:.0f} min.", first->bench, from, to);
    }
    const int width = std::clamp(o.width, 48, 400);
    if (!rows.empty()) {
        std::vector<std::string> labels;
        for (double s : watch::wall_ticks(rows, width))
            labels.push_back(time_of_day(now + static_cast<UnixMs>(1000 * s)));
        a.text = "\n";
        for (const std::string& l : watch::wall(rows, width, o.ascii, labels)) a.text += l + "\n";
        a.text += "\n";
        for (const watch::WallRow& r : rows) a.text += fmt::format("{}: {}\n", r.bench, r.says);
    }
    boost::json::array pairs;
    for (const watch::Clash& c : clashes) {
        const std::string text =
            fmt::format("{} and {} may want hands at once: {}", there[c.a].bench, there[c.b].bench, chance(c.p));
        a.judgement.add(
            {"hands-clash", Verdict::mind, text, there[c.a].bench + "+" + there[c.b].bench, "odds of both runs"});
        pairs.push_back({{"a", there[c.a].bench}, {"b", there[c.b].bench}, {"p", c.p}});
    }
    a.data["runs"] = std::move(runs);
    a.data["clashes"] = std::move(pairs);
    if (!o.next.empty()) {
        auto next = next_job(context, o);
        if (!next) return pass(next);
        const auto after = watch::start_after(there, next->asks, o.certainty);
        boost::json::object data{{"job", next->name}, {"certainty", o.certainty}};
        if (after) {
            data["after_s"] = *after;
            data["no_wait"] = watch::no_wait(there, next->asks, *after);
            a.text += *after < 1 ? fmt::format("Start {} now: nobody waits, at {}.\n", next->name, chance(o.certainty))
                                 : fmt::format("Start {} in {:.4g} min ({}): then nobody waits, at {}.\n", next->name,
                                               *after / 60, time_of_day(now + static_cast<UnixMs>(1000 * *after)),
                                               o.certainty >= 1 ? "certainty" : chance(o.certainty));
        } else {
            a.judgement.add({"no-free-start", Verdict::cant_say,
                             "no start within four hours keeps the hands free at that certainty", next->name,
                             "odds of all runs"});
        }
        a.data["next"] = std::move(data);
    }
    a.width = std::max<std::size_t>(a.width, static_cast<std::size_t>(width));
    return a;
}

}  // namespace fettle::app
