#include "fettle/show/order.h"

#include <fmt/format.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/base/time_of_day.h"

namespace fettle::show {
namespace {

std::string clock_in(const workshop::Ordered& o, double seconds) {
    return time_of_day(o.at + static_cast<UnixMs>(1000 * seconds));
}

json::object slot_as_json(const workshop::Ordered& o, const watch::BenchSlot& s) {
    return {{"job", o.jobs[s.job].name},
            {"bench", s.bench + 1},
            {"start_p50_s", s.start.quantile(0.5)},
            {"end_p50_s", s.end.quantile(0.5)},
            {"end_p90_s", s.end.quantile(0.9)}};
}

std::string line_of(const workshop::Ordered& o, const watch::BenchSlot& s) {
    const double start_s = s.start.quantile(0.5);
    return fmt::format("  bench {:<2}  {:<8} {:<9} done {}, nine in ten by {}\n", s.bench + 1, o.jobs[s.job].name,
                       start_s < 1 ? "now" : "at " + clock_in(o, start_s), clock_in(o, s.end.quantile(0.5)),
                       clock_in(o, s.end.quantile(0.9)));
}

}  // namespace

Answer jobs_ordered(const workshop::Ordered& o) {
    Answer a;
    a.judgement = o.judgement;
    json::array slots, waits;
    if (o.jobs.empty()) {
        a.headline = "No job waits for a run.";
    } else {
        a.headline =
            fmt::format("{} on {}: all done in {} or less, {:.0f} in 100, if nobody waits for hands.",
                        plural(o.jobs.size(), "job"), plural(static_cast<std::uint64_t>(o.benches), "bench", "benches"),
                        human_duration(o.order.end_s), 100 * o.certainty);
        for (const watch::BenchSlot& s : o.order.slots) {
            a.text += line_of(o, s);
            slots.push_back(slot_as_json(o, s));
        }
        a.text += o.order.exact ? "  no other division of the jobs ends earlier\n"
                                : "  longest first; with so many jobs another division may end somewhat earlier\n";
    }
    for (const watch::Clash& c : o.order.clashes) {
        const watch::HandsAsk &one = o.order.asks[c.a], &other = o.order.asks[c.b];
        a.judgement.add({"hands-clash", Verdict::mind,
                         fmt::format("{} ({}) and {} ({}) may want hands at once: {:.0f} in 100; one of them waits",
                                     one.bench, one.words, other.bench, other.words, 100 * c.p),
                         one.bench + "+" + other.bench, "forecasts"});
        waits.push_back({{"a", one.bench}, {"b", other.bench}, {"p", c.p}});
    }
    a.data = {{"benches", o.benches},   {"certainty", o.certainty},  {"end_s", o.order.end_s},
              {"exact", o.order.exact}, {"slots", std::move(slots)}, {"clashes", std::move(waits)}};
    if (!o.order.slots.empty()) {
        const auto& first = o.jobs[o.order.slots.front().job].name;
        a.text.append(Next{"  next: see whether the first may start: ", propose(Act::check_ready, {job(first)})});
        a.text += "\n";
    }
    return a;
}

}  // namespace fettle::show
