#include "cmd_placard.h"

#include <fmt/format.h>

#include <ctime>
#include <filesystem>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/ready/holds.h"
#include "fettle/ready/placard.h"
#include "fettle/workshop/ready_job.h"
#include "placard_pdf.h"

namespace fettle::app {
namespace {

// "14:05" by the clock on the workshop's wall.
std::string wall_time(UnixMs at) {
    const std::time_t seconds = at / 1000;
    std::tm local{};
    ::localtime_r(&seconds, &local);
    return fmt::format("{:02}:{:02}", local.tm_hour, local.tm_min);
}

std::string workshop_name(const Context& context) {
    const auto text = read_text_file(context.home / "workshop.txt", 4096);
    return text ? std::string(trim(text->substr(0, text->find('\n')))) : "";
}

// An end is never said too early: up to the next full minute.
UnixMs after(UnixMs start, double seconds) {
    const auto at = start + static_cast<UnixMs>(seconds * 1000);
    return (at + 59'999) / 60'000 * 60'000;
}

}  // namespace

Result<Answer> ready_placard(Context& context, const ReadyPlacardOptions& options) {
    const std::string kind = std::filesystem::path(options.out).extension().string();
    if (kind != ".svg" && kind != ".pdf")
        return usage_error("placard-form-unknown", printable(options.out), "the name ends in neither .svg nor .pdf",
                           "give --out placard.pdf or --out placard.svg");
    auto run = load_job_run(context, options.job);
    if (!run) return pass(run);
    const bool open = run->job.is_open_run();
    auto step = open && options.step == 0 ? run->step(run->job.runs.back().step) : run->step(options.step);
    if (!step) return pass(step);
    const forecast::Forecast& f = (*step)->forecast;
    const UnixMs begun = open ? run->job.runs.back().started : 0;

    ready::PlacardFacts facts;
    facts.job = run->number;
    facts.workshop = workshop_name(context);
    facts.place = run->on_bench() ? "bench" : "vehicle";
    facts.release = (*step)->release.release;
    facts.ask_for = options.ask_for;
    const auto moment = [&](double s) {
        return open ? wall_time(after(begun, s)) : human_duration(s) + " after the start";
    };
    if (open) facts.begun = wall_time(begun);
    facts.done_early = open ? moment(f.total.p50_s) : human_duration(f.total.p50_s);
    facts.done_late = moment(f.total.p90_s);
    if (f.states.empty()) facts.done_early = facts.done_late = "";
    for (const family::Hold& h : ready::holds_of(run->family, run->on_bench())) facts.keep.push_back(h.words);
    const ready::Check check = ready_of(*run, **step, context.clock->now());
    for (const ready::HandsWindow& h : check.hands)
        facts.hands.push_back(
            fmt::format("between {} and {}: {}",
                        open ? wall_time(begun + static_cast<UnixMs>(h.from_s * 1000)) : human_duration(h.from_s),
                        moment(h.to_s), h.words));
    if (run->family.script.empty())
        facts.hands.emplace_back("not known when: the step script is not known, so somebody stays until it ends");
    facts.cautions = check.cautions;

    const ready::Placard page = ready::lay_out(facts);
    std::string bytes;
    if (kind == ".pdf") {
        auto pdf = placard_pdf(page);
        if (!pdf) return pass(pdf);
        bytes = std::move(*pdf);
    } else {
        bytes = ready::placard_svg(page);
    }
    if (auto written = write_file_durably(options.out, bytes); !written) return pass(written);
    Answer a;
    a.job = run->number;
    a.verdict_matters = false;
    a.headline = fmt::format("Placard written: {}.", printable(options.out));
    a.level = run->level();
    a.text =
        open && f.states.empty() ? "  Until when can't be said: the step script is not known.\n"
        : open
            ? fmt::format("  until {} (nine in ten), {} (half)\n", facts.done_late, facts.done_early)
            : std::string("  No run is open: write the time of the start on it, or print it again after the start.\n");
    boost::json::array keep;
    for (const std::string& k : facts.keep) keep.push_back(boost::json::string(k));
    a.data = {{"file", options.out},
              {"done_early", f.states.empty() ? "not known" : facts.done_early},
              {"done_late", f.states.empty() ? "not known" : facts.done_late},
              {"keep", keep}};
    return a;
}

}  // namespace fettle::app
