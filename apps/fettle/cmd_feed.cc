#include "cmd_feed.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <thread>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/link/sample_lines.h"
#include "fettle/link/scpi_supply.h"
#include "fettle/link/supply_source.h"
#include "fettle/ready/told.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/run_witness.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

// A figure as an answer keeps it: no more digits than a meter has.
std::string figure(double v) {
    std::string out = fmt::format("{:.3f}", v);
    while (out.back() == '0') out.pop_back();
    if (out.back() == '.') out.pop_back();
    return out;
}

class Keeper {
public:
    Keeper(const family::Family& family, Answer& a) : family_(family), a_(a) {}
    // Kept as read when the check takes it; a figure out of its range is told, not kept.
    void keep(const std::string& key, const std::string& value) {
        if (auto ok = ready::check_answer(family_, key, value); !ok) {
            a_.judgement.add({"supply-figure-unfit", Verdict::cant_say, key + ": " + ok.error().problem, key, "read"});
            return;
        }
        a_.entries.push_back({"answered", {{"key", key}, {"value", value}, {"source", "read"}}});
        a_.text += fmt::format("  {} = {} (read)\n", key, value);
        kept_[key] = value;
    }
    void number(const std::string& key, const std::optional<double>& v) {
        if (v) keep(key, figure(*v));
    }
    boost::json::object take() { return std::move(kept_); }
    bool empty() const { return kept_.empty(); }

private:
    const family::Family& family_;
    Answer& a_;
    boost::json::object kept_;
};

Status read_bench(const Context& context, const std::string& from, Keeper& keep, Answer& a) {
    auto address = link::scpi::parse_address(from);
    if (!address) return pass(address);
    link::ScpiSupply supply(std::move(*address), *context.clock, 500);
    auto state = supply.read();
    if (!state) return pass(state);
    keep.number("supply.volts", state->set_V);
    keep.number("supply.limit", state->limit_A);
    if (state->output_on) keep.keep("supply.output", *state->output_on ? "on" : "off");
    if (state->output_on.value_or(true)) keep.number("supply.measured_v", state->measured_V);
    if (state->measured_A) a.text += fmt::format("  {:.2f} A are drawn from it now\n", *state->measured_A);
    a.data["supply"] = state->maker_and_model;
    if (state->measured_A) a.data["measured_a"] = *state->measured_A;
    for (const std::string& e : state->errors)
        a.judgement.add(
            {"supply-reports-error", Verdict::mind, "the supply has an error in its queue: " + e, "supply", "read"});
    for (const std::string& n : state->not_understood)
        a.judgement.add({"supply-answer-odd", Verdict::mind, "the supply's answer is none: " + n, "supply", "read"});
    return {};
}

// Of a recorded or running series: the lowest voltage and the greatest current that stood in it.
Status read_samples(const Context& context, const ReadySupplyOptions& options, Keeper& keep, Answer& a) {
    auto source = link::open_supply(options.from, *context.clock, 0);
    if (!source) return pass(source);
    const auto until =
        std::chrono::steady_clock::now() +
        std::chrono::milliseconds(static_cast<std::int64_t>(std::clamp(options.for_s, 0.0, 3600.0) * 1000));
    std::size_t n = 0;
    std::optional<double> lowest_V, most_A;
    do {
        for (int quiet = 0; quiet < 2;) {
            auto got = (*source)->take();
            if (!got) {
                a.judgement.add({"supply-line-left-out", Verdict::mind, got.error().place + ": " + got.error().problem,
                                 "supply", "read"});
                if (a.judgement.reasons.size() > 20) return {};
                continue;
            }
            quiet = got->empty() ? quiet + 1 : 0;
            if (n > 1'000'000) break;  // a writer that never rests
            for (const SupplySample& s : *got) {
                ++n;
                if (s.has_volts()) lowest_V = std::min(lowest_V.value_or(s.volts), s.volts);
                if (s.has_amps()) most_A = std::max(most_A.value_or(0), s.amps);
            }
        }
        if (std::chrono::steady_clock::now() >= until) break;
        std::this_thread::sleep_for(std::chrono::milliseconds(200));
    } while (true);
    keep.number("supply.measured_v", lowest_V);
    if (most_A) a.text += fmt::format("  {:.2f} A at most in {} readings\n", *most_A, n);
    a.data["readings"] = n;
    if (most_A) a.data["measured_a"] = *most_A;
    return {};
}

}  // namespace

Result<Answer> ready_supply(Context& context, const ReadySupplyOptions& options) {
    auto run = load_job_and_family(context, options.job);
    if (!run) return pass(run);
    Answer a;
    a.job = run->number;
    Keeper keep(run->family, a);
    auto read = link::is_supply_address(options.from) ? read_bench(context, options.from, keep, a)
                                                      : read_samples(context, options, keep, a);
    if (!read) return pass(read);
    if (keep.empty())
        a.judgement.add({"supply-gave-nothing", Verdict::cant_say, "nothing that the check needs could be read",
                         "supply", "not read"});
    a.headline =
        keep.empty() ? "The supply gave no figure." : "Read from the supply; it was only asked, nothing was set.";
    a.data["answers"] = keep.take();
    return a;
}

Result<Answer> ready_breach(Context& context, const ReadyBreachOptions& options) {
    auto run = load_job_run(context, options.job, Unidentified::allowed);
    if (!run) return pass(run);
    if (!run->job.is_open_run())
        return bad_input("no-open-run", "job " + run->number, "no run is open, so nothing need stay as it is",
                         "answer the check instead: fettle ready answer " + run->number + " hold." +
                             printable(options.hold) + "=no");
    std::vector<std::string> ids;
    std::string words;
    for (const family::Hold& h : ready::holds_of(run->family, run->on_bench())) {
        ids.push_back(h.id);
        if (h.id == options.hold) words = h.words;
    }
    if (words.empty())
        return usage_error("hold-unknown", printable(options.hold), "no hold of this place has this name",
                           "use one of: " + join(ids, ", "));
    const ready::Breach b{options.hold, "tap", trim(options.says).empty() ? "not so any more: " + words : options.says,
                          context.clock->now()};
    Answer a;
    a.job = run->number;
    a.headline = fmt::format("Broken and recorded: {}.", printable(options.hold));
    a.text = "Put it right if that can be done without cutting power; the run is watched on.\n";
    a.judgement.add({"hold-broken", Verdict::mind, "seen broken: " + words, options.hold, "tap"});
    a.data = {{"hold", b.hold}, {"witness", b.witness}, {"words", b.words}};
    a.entries.push_back(breach_entry(b));
    return a;
}

namespace {

// What a guard has told so far.
struct Told {
    std::size_t readings = 0, troubles = 0;
    std::string trouble;
    boost::json::array breaches;
};

// A supply that gives nothing is told when that changes, and asked again; it ends nothing.
std::vector<SupplySample> taken(const Context& context, SupplySource& source, Told& told) {
    auto got = source.take();
    if (!got) {
        ++told.troubles;
        std::string said = got.error().message();
        if (said != told.trouble) context.say("No reading: " + printable(shortened(said)) + "\n");
        told.trouble = std::move(said);
        return {};
    }
    if (!got->empty()) told.trouble.clear();
    told.readings += got->size();
    return std::move(*got);
}

// Has the run that was begun come to its end?
Result<bool> over(const Context& context, const JobRun& run) {
    auto job = load_job(context, run.number);
    if (!job) return pass(job);
    return !job->is_open_run() || job->runs.back().started != run.job.runs.back().started;
}

}  // namespace

Result<Answer> ready_guard(Context& context, const ReadyGuardOptions& options) {
    if (options.supply.empty() && options.listen.empty())
        return usage_error("guard-without-witness", "ready guard", "neither a supply nor a network is named",
                           "give --supply SOURCE, --listen ADDR:PORT, or both");
    auto run = load_job_run(context, options.job, Unidentified::allowed);
    if (!run) return pass(run);
    if (!run->job.is_open_run())
        return bad_input("no-open-run", "job " + run->number, "no run is open, so there is nothing to guard",
                         "begin one: fettle watch " + run->number + " --start --by NAME");
    std::unique_ptr<SupplySource> source;
    if (!options.supply.empty()) {
        auto opened = link::open_supply(options.supply, *context.clock, run->job.runs.back().started);
        if (!opened) return pass(opened);
        source = std::move(*opened);
    }
    RunWitness witness(context, *run);
    if (!options.listen.empty()) {
        if (auto ok = witness.listen_at(options.listen); !ok) return pass(ok);
    }
    Answer a;
    a.job = run->number;
    Told told;
    const auto until =
        std::chrono::steady_clock::now() + std::chrono::milliseconds(static_cast<std::int64_t>(options.for_s * 1000));
    while (true) {
        std::vector<ready::Breach> seen;
        const auto kept = witness.see(source ? taken(context, *source, told) : std::vector<SupplySample>(), seen);
        for (const ready::Breach& b : seen) {
            context.say("\a" + breach_words(b) + "\n");
            told.breaches.push_back({{"hold", b.hold}, {"witness", b.witness}, {"words", b.words}});
            a.judgement.add({"hold-broken", Verdict::mind, b.hold + ": " + b.words, b.hold, b.witness});
        }
        if (!kept) return pass(kept);
        if (options.for_s > 0 && std::chrono::steady_clock::now() >= until) break;
        std::this_thread::sleep_for(std::chrono::milliseconds(options.for_s > 0 && options.for_s < 5 ? 100 : 1000));
        const auto ended = over(context, *run);
        if (!ended) return pass(ended);
        if (*ended) break;
    }
    if (source && told.readings == 0)
        a.judgement.add({"supply-not-witnessed", Verdict::cant_say, "not one reading came: the supply was not guarded",
                         "supply", "not read"});
    a.headline = fmt::format("{} readings, {} more not to be had; {} {} seen broken.", told.readings, told.troubles,
                             told.breaches.size(), told.breaches.size() == 1 ? "hold" : "holds");
    a.data = {{"readings", told.readings}, {"without_reading", told.troubles}, {"breaches", std::move(told.breaches)}};
    return a;
}

}  // namespace fettle::app
