#include "fettle/workshop/placard_job.h"

#include <fmt/core.h>

#include <ctime>
#include <optional>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/ready/holds.h"
#include "fettle/workshop/ready_job.h"

namespace fettle::workshop {
namespace {

// "14:05" by the clock on the workshop's wall.
std::string wall_time(UnixMs at) {
    const std::time_t seconds = at / 1000;
    std::tm local{};
    ::localtime_r(&seconds, &local);
    return fmt::format("{:02}:{:02}", local.tm_hour, local.tm_min);
}

UnixMs after(UnixMs start, double seconds) {
    return start + static_cast<UnixMs>(seconds * 1000);
}

// An end is never said too early: up to the next full minute.
UnixMs next_minute(UnixMs at) {
    return (at + 59'999) / 60'000 * 60'000;
}

std::string workshop_name(const Workshop& shop) {
    const auto text = read_text_file(shop.home / "workshop.txt", 4096);
    return text ? std::string(trim(text->substr(0, text->find('\n')))) : "";
}

// When a stretch of the run begins and ends: by the clock once it has begun.
struct Times {
    std::optional<UnixMs> begun;

    std::string from(double s) const { return begun ? wall_time(after(*begun, s)) : human_duration(s); }
    std::string to(double s) const {
        return begun ? wall_time(next_minute(after(*begun, s))) : human_duration(s) + " after the start";
    }
};

}  // namespace

Result<PlacardFor> placard_of(const Workshop& shop, const PlacardRequest& request) {
    const auto run = load_job_run(shop, request.job);
    if (!run) return pass(run);
    const bool open = run->job.is_open_run();
    const auto step = run->step(open && request.step == 0 ? run->job.runs.back().step : request.step);
    if (!step) return pass(step);
    const forecast::Forecast& forecast = (*step)->forecast;
    const Times times{open ? std::optional(run->job.runs.back().started) : std::nullopt};

    PlacardFor out;
    out.job = run->number;
    out.level = run->level();
    out.run_open = open;
    ready::PlacardFacts& facts = out.facts;
    facts.job = run->number;
    facts.workshop = workshop_name(shop);
    facts.place = run->on_bench() ? "bench" : "vehicle";
    facts.release = (*step)->release.release;
    facts.ask_for = request.ask_for;
    if (open) facts.begun = wall_time(*times.begun);
    if (!forecast.states.empty()) {
        facts.done_early = open ? times.to(forecast.total.p50_s) : human_duration(forecast.total.p50_s);
        facts.done_late = times.to(forecast.total.p90_s);
    }
    for (const family::Hold& h : ready::holds_of(run->family, run->on_bench())) facts.keep.push_back(h.words);
    const auto checked = ready_of(shop, *run, **step, shop.clock->now());
    if (!checked) return pass(checked);
    const ready::Check& check = *checked;
    for (const ready::HandsDue& h : check.hands)
        facts.hands.push_back(fmt::format("between {} and {}: {}", times.from(h.from_s), times.to(h.to_s), h.words));
    if (run->family.script.empty())
        facts.hands.emplace_back("not known when: the step script is not known, so somebody stays until it ends");
    facts.cautions = check.cautions;
    return out;
}

}  // namespace fettle::workshop
