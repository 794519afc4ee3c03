#include "fettle/workshop/wall.h"

#include <filesystem>

#include "fettle/base/text.h"
#include "fettle/workshop/look_at_run.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

constexpr double kGrid_s = 5;

Result<std::vector<std::string>> jobs_of(const Workshop& shop) {
    std::error_code ignored;
    if (!std::filesystem::exists(shop.book_file(), ignored)) return std::vector<std::string>();
    auto opened = existing_book(shop);
    if (!opened) return pass(opened);
    return opened->jobs();
}

watch::WallRow row_of(const RunLook& look, double hands_s) {
    watch::WallRow row{look.job, look.where.sentence, {}, look.where.end_p50_s, false};
    for (const watch::HandsWindow& h : look.where.hands) {
        row.hands_now = row.hands_now || h.now;
        row.asks.push_back(
            {look.job, h.words, h.now ? watch::evenly(0, 0) : watch::from_draws(h.draws_s, kGrid_s), hands_s});
    }
    return row;
}

// nullopt: no run of it is open.
Result<std::optional<watch::WallRow>> row_of_job(const Workshop& shop, const std::string& number,
                                                 const WallRequest& request) {
    const auto job = load_job(shop, number);
    if (!job) return pass(job);
    if (!job->is_open_run()) return std::nullopt;
    const auto run = load_last_run(shop, number);
    if (!run) return pass(run);
    return row_of(look_at(shop, *run, run->job.runs.size(), {request.lead_s, 0.8}), request.hands_s);
}

Result<Wall::Next> next_of(const Workshop& shop, const WallRequest& request,
                           const std::vector<watch::HandsAsk>& there) {
    Wall::Next out;
    std::vector<watch::HandsAsk> asks;
    if (request.next_window) {
        out.name = request.next_window->bench;
        asks.push_back(*request.next_window);
    } else {
        const auto run = load_job_run(shop, request.next);
        if (!run) return pass(run);
        const auto step = run->step(0);
        if (!step) return pass(step);
        out.name = "job " + run->number;
        asks = asks_of(*run, **step, {}, request.hands_s);
    }
    out.certainty = request.certainty;
    out.after_s = watch::start_after(there, asks, request.certainty);
    if (out.after_s) out.no_wait = watch::no_wait(there, asks, *out.after_s);
    return out;
}

}  // namespace

std::vector<watch::HandsAsk> asks_of(const JobRun& run, const plan::PlanStep& step, std::vector<double> begun,
                                     double hands_s) {
    std::vector<watch::HandsAsk> out;
    if (!step.forecast.by_state) return out;
    if (begun.empty()) begun.assign(static_cast<std::size_t>(forecast::draws), 0.0);
    for (std::size_t i = 0; i < run.family.script.size() && i < step.forecast.by_state->seconds.size(); ++i) {
        const family::Act& a = run.family.script[i];
        if (a.kind == family::ActKind::ask || (run.on_bench() && !a.wake.empty()))
            out.push_back({run.number, a.words, watch::from_draws(begun, kGrid_s), hands_s});
        const auto& column = step.forecast.by_state->seconds[i];
        for (std::size_t d = 0; d < begun.size() && d < column.size(); ++d) begun[d] += column[d];
    }
    return out;
}

Result<Wall> wall_of(const Workshop& shop, const WallRequest& request) {
    if (!(request.certainty > 0) || request.certainty > 1)
        return usage_error("certainty-range", with(flag("certainty")), "is no chance",
                           "give a figure above 0, up to 1: 0.95");
    Wall out;
    out.at = shop.clock->now();
    const auto numbers = jobs_of(shop);
    if (!numbers) return pass(numbers);
    for (const std::string& number : *numbers) {
        auto row = row_of_job(shop, number, request);
        if (row && *row) out.rows.push_back(std::move(**row));
        if (!row)
            out.judgement.add({"job-not-shown", Verdict::cant_say,
                               "job " + number + " is not shown: " + row.error().problem, number, "journal"});
    }
    for (const watch::HandsAsk& w : request.windows)
        out.rows.push_back({w.bench, "asks for hands as typed", {w}, 0, false});
    for (const watch::WallRow& r : out.rows) out.asks.insert(out.asks.end(), r.asks.begin(), r.asks.end());
    out.clashes = watch::clashes(out.asks);
    if (!request.next.empty() || request.next_window) {
        auto next = next_of(shop, request, out.asks);
        if (!next) return pass(next);
        out.next = std::move(*next);
    }
    return out;
}

}  // namespace fettle::workshop
