#include "fettle/workshop/run_follow.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "fettle/base/text.h"
#include "fettle/base/time_of_day.h"
#include "fettle/plan/expected.h"

namespace fettle::workshop {
namespace {

// Each hold that was seen broken, by its last time.
std::vector<Reason> broken_holds(const book::Run& run) {
    std::map<std::string, std::pair<const book::BreachSeen*, int>> last;
    for (const book::BreachSeen& b : run.breaches) {
        if (b.undone) continue;
        auto& [newest, times] = last[b.hold];
        if (!newest || b.at >= newest->at) newest = &b;
        ++times;
    }
    std::vector<Reason> out;
    for (const auto& [hold, seen] : last)
        out.push_back({"hold-broken", Verdict::mind,
                       fmt::format("{} was seen broken at {}{}: {}; do not cut power", printable(hold),
                                   time_of_day(seen.first->at),
                                   seen.second > 1 ? fmt::format(" and {} more before", seen.second - 1) : "",
                                   printable(seen.first->words)),
                       hold, seen.first->witness});
    return out;
}

// What the clock had been set by when that entry was made, in milliseconds.
UnixMs set_by(const book::Run& run, std::int64_t entry) {
    double s = 0;
    for (const book::ClockSet& c : run.clock_set)
        if (c.entry <= entry) s += c.step.by_s;
    return static_cast<UnixMs>(1000 * s);
}

watch::TallyReading reading_of(const book::TallySeen& t, UnixMs at) {
    const auto count = [&](const char* name) {
        const auto it = t.counts.find(name);
        return it == t.counts.end() ? std::nullopt : std::optional(it->second);
    };
    return {count("landed"), count("passed_over"), count("refused"), count("to_come"), at};
}

}  // namespace

std::optional<book::ClockStep> clock_step_now(const Workshop& shop, const book::Job& job) {
    const auto up = shop.uptime ? shop.uptime() : std::nullopt;
    book::ClockKept now{shop.clock->now(), "", 0};
    if (up) now = {now.at, up->boot, up->up_s};
    return book::clock_set_by(job.clocks, job.last_entry, now);
}

UnixMs run_now(const Workshop& shop, const book::Job& job, const book::Run& run) {
    UnixMs now = shop.clock->now() - set_by(run, job.last_number);
    if (const auto step = clock_step_now(shop, job)) now -= static_cast<UnixMs>(1000 * step->by_s);
    return now;
}

std::optional<double> since_end_s(const Workshop& shop, const book::Job& job, const book::Run& run) {
    if (!run.ended) return std::nullopt;
    const UnixMs ended = *run.ended - set_by(run, run.ended_entry);
    return std::max(0.0, static_cast<double>(run_now(shop, job, run) - ended) / 1000);
}

bool clock_doubted(const book::Run& run, const std::optional<book::ClockStep>& now) {
    const bool open = run.ended_entry == 0;
    return (open && now) || std::any_of(run.clock_set.begin(), run.clock_set.end(),
                                        [&](const book::ClockSet& c) { return open || c.entry <= run.ended_entry; });
}

watch::Observed observed(const book::Run& run, bool on_bench) {
    watch::Observed out;
    out.started = run.started;
    out.on_bench = on_bench;
    out.against_halt = run.against_halt;
    out.state = run.outcome;
    out.clock_unsure = std::any_of(run.clock_set.begin(), run.clock_set.end(), [&](const book::ClockSet& c) {
        return !c.step.exact && (run.ended_entry == 0 || c.entry <= run.ended_entry);
    });
    out.continued = run.continued;
    const auto on_axis = [&](const auto& seen) { return seen.at - set_by(run, seen.entry); };
    if (run.ended) out.over_at = *run.ended - set_by(run, run.ended_entry);
    for (const book::RunMark& m : run.marks) out.marks.push_back({m.event, on_axis(m), m.source, m.undone});
    for (const book::TextSeen& t : run.texts) {
        if (!t.undone) out.shown.push_back({t.text, on_axis(t)});
    }
    for (const book::TallySeen& t : run.tallies) {
        if (!t.undone) out.tally.push_back(reading_of(t, on_axis(t)));
    }
    return out;
}

std::shared_ptr<const watch::Against> against(const JobRun& run, const book::Run& which) {
    auto out = std::make_shared<watch::Against>();
    out->family = run.family;
    out->map.boot_order_known = false;  // nothing was explored, so nothing has a way back
    if (!which.expected.empty()) {
        if (auto kept = plan::expected_from(which.expected)) {
            out->sheet = std::move(kept->sheet);
            out->forecast = std::move(kept->forecast);
            out->map = std::move(kept->map);
            return out;
        }
    }
    if (const plan::PlanStep* step = run.step_of(which)) {
        out->sheet = step->sheet;
        out->forecast = step->forecast;
        out->map = step->map;
    }
    return out;
}

RunFollow::RunFollow(const JobRun& run, const book::Run& which, watch::CallRule rule)
    : on_bench_(run.on_bench()), follow_(against(run, which), observed(which, on_bench_), rule) {
    see(which);
}

void RunFollow::see(const book::Run& which, std::vector<SupplySample> measured) {
    watch::Observed seen = observed(which, on_bench_);
    seen.supply = std::move(measured);
    follow_.see(std::move(seen));
    holds_ = broken_holds(which);
}

watch::Where RunFollow::tick(UnixMs now) {
    watch::Where out = follow_.tick(now);
    for (const Reason& r : holds_) out.judgement.add(r);
    return out;
}

watch::Where where_is(const JobRun& run, const book::Run& which, UnixMs now) {
    return RunFollow(run, which).tick(now);
}

}  // namespace fettle::workshop
