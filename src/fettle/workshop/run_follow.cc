#include "fettle/workshop/run_follow.h"

#include <fmt/format.h>

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

watch::TallyReading reading_of(const book::TallySeen& t) {
    const auto count = [&](const char* name) {
        const auto it = t.counts.find(name);
        return it == t.counts.end() ? std::nullopt : std::optional(it->second);
    };
    return {count("landed"), count("passed_over"), count("refused"), count("to_come"), t.at};
}

}  // namespace

watch::Observed observed(const book::Run& run, bool on_bench) {
    watch::Observed out;
    out.started = run.started;
    out.on_bench = on_bench;
    out.against_halt = run.against_halt;
    out.state = run.outcome;
    out.over_at = run.ended;
    for (const book::RunMark& m : run.marks) out.marks.push_back({m.event, m.at, m.source, m.undone});
    for (const book::TextSeen& t : run.texts) {
        if (!t.undone) out.shown.push_back({t.text, t.at});
    }
    for (const book::TallySeen& t : run.tallies) {
        if (!t.undone) out.tally.push_back(reading_of(t));
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
