#include "fettle/workshop/order_jobs.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/read_jobs.h"
#include "fettle/workshop/wall.h"

namespace fettle::workshop {
namespace {

constexpr double kGrid_s = 5;
constexpr int most_benches = 20;
constexpr double most_certain = 0.99;

// The whole job, by draws: steps one after the other, handling before each. nullopt: no length is known.
std::optional<watch::BenchJob> waiting(const JobRun& run, double hands_s) {
    const int next = run.next_step();
    if (next == 0 || run.plan.steps.empty()) return std::nullopt;
    watch::BenchJob out{run.number, {}, {}};
    std::vector<double> at;
    for (std::size_t i = static_cast<std::size_t>(next) - 1; i < run.plan.steps.size(); ++i) {
        const plan::PlanStep& step = run.plan.steps[i];
        if (!(step.forecast.total.p50_s > 0) || !step.forecast.by_state) return std::nullopt;
        const auto& seconds = step.forecast.by_state->seconds;
        std::size_t draws = 0;
        for (const auto& state : seconds) draws = std::max(draws, state.size());
        if (at.empty()) at.assign(draws, 0.0);
        for (double& t : at) t += plan::usual_handling().median_s;
        for (watch::HandsAsk a : asks_of(run, step, at, hands_s)) out.asks.push_back(std::move(a));
        for (const auto& state : seconds)
            for (std::size_t d = 0; d < std::min(at.size(), state.size()); ++d) at[d] += state[d];
    }
    out.takes = watch::from_draws(at, kGrid_s);
    return out;
}

Status within(const OrderRequest& r) {
    if (r.benches < 1 || r.benches > most_benches)
        return usage_error("benches-range", std::to_string(r.benches), "is no number of benches",
                           fmt::format("say 1 to {}", most_benches));
    if (!(r.hands_s >= 0) || r.hands_s > 3600)
        return usage_error("hands-range", fmt::format("{}", r.hands_s), "is no time at the box",
                           "say 0 to 3600 seconds");
    if (!(r.certainty > 0) || r.certainty > most_certain)
        return usage_error("certainty-range", fmt::format("{}", r.certainty), "is no chance",
                           fmt::format("give a figure above 0, up to {}: forecasts promise no more", most_certain));
    return {};
}

}  // namespace

Result<Ordered> order_jobs(const Workshop& shop, const OrderRequest& request) {
    if (auto ok = within(request); !ok) return pass(ok);
    Ordered out;
    out.at = shop.clock->now();
    out.benches = request.benches;
    out.certainty = request.certainty;
    std::vector<std::string> numbers = request.jobs;
    const bool named = !numbers.empty();
    if (!named) {
        const auto all = list_jobs(shop);
        if (!all) return pass(all);
        for (const ListedJob& j : all->jobs)
            if (!j.handed_over && !j.run_open) numbers.push_back(j.number);
    }
    std::sort(numbers.begin(), numbers.end());
    numbers.erase(std::unique(numbers.begin(), numbers.end()), numbers.end());
    const auto left_out = [&](const std::string& job, const std::string& why) {
        out.judgement.add(
            {"job-not-ordered", Verdict::cant_say, "job " + job + " is not in it: " + why, job, "journal"});
    };
    for (const std::string& number : numbers) {
        const auto run = load_job_run(shop, number);
        if (!run && named) return pass(run);
        if (!run) {
            left_out(number, run.error().problem);
            continue;
        }
        if (run->job.is_open_run())
            left_out(run->number, "its run is under way");
        else if (auto j = waiting(*run, request.hands_s)) {
            out.jobs.push_back(std::move(*j));
            if (run->plan.judgement.verdict() >= Verdict::cant_say)
                out.judgement.add(
                    {"job-order-open", Verdict::cant_say,
                     "the plan of job " + run->number + " leaves something open: it may not start as it is",
                     run->number, "plan",
                     Next{"see what stands against it: ", propose(Act::check_ready, {job(run->number)})}});
        } else if (named || !run->plan.steps.empty())
            left_out(run->number,
                     run->next_step() == 0 ? "it has no step to run" : "how long its run takes is not known");
    }
    out.order = watch::bench_order(out.jobs, static_cast<std::size_t>(request.benches), request.certainty);
    return out;
}

}  // namespace fettle::workshop
