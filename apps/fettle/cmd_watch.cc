#include "cmd_watch.h"

#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/link/supply_source.h"
#include "fettle/watch/strip.h"
#include "fettle/workshop/ready_job.h"
#include "fettle/workshop/run_supply.h"
#include "fettle/workshop/run_times.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/supply_record.h"

namespace fettle::app {
namespace {

const char* const kUnknownRelease = "a release not known";  // of a run without plan and card

// Each hold that was seen broken, by its last time.
std::vector<Reason> broken_holds(const book::Run& run) {
    std::map<std::string, std::pair<const book::Breach*, int>> last;
    for (const book::Breach& b : run.breaches) {
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

std::string words_of(const JobRun& run, const std::string& act) {
    const family::Act* a = run.family.act(act);
    return a ? a->words : act;
}

}  // namespace

tl::unexpected<Error> no_run(const std::string& job) {
    return bad_input("no-run", "job " + job, "no run was begun",
                     "begin one: fettle watch " + job + " --start --by NAME");
}

Drawn draw_run(const JobRun& run, const book::Run& which, UnixMs now, const watch::StripStyle& style,
               const Look& look) {
    const Watched w = watched(run, which);
    watch::Observed seen = observed(which, run.on_bench());
    seen.supply = look.supply;
    const UnixMs until = seen_until(which, now);
    Drawn out;
    out.where = watch::track(w.step(), seen, until, look.rule);
    out.lines = watch::strip(w.step(), seen, out.where, until, watch::strip_samples(seen), style);
    for (const Reason& r : broken_holds(which)) out.where.judgement.add(r);
    if (which.outcome == book::Outcome::broken_off) {
        out.where.standing = watch::Standing::astray;
        out.where.sentence = out.where.act.empty()
                                 ? std::string("Broken off; what it was doing then can't be said.")
                                 : "Broken off; at its last moment it " + words_of(run, out.where.act) + ".";
        out.where.hands.clear();
        // What only a run that goes on asks for.
        for (const char* over : {"hands-now", "hands-soon", "waiting-to-be-woken", "overdue", "slow-here",
                                 "no-marks-yet", "no-way-back-now"})
            std::erase_if(out.where.judgement.reasons, [&](const Reason& r) { return r.code == over; });
        out.where.end_p50_s = out.where.end_p90_s = 0;
    }
    return out;
}

boost::json::object where_as_json(const watch::Where& w, const book::Run& run) {
    boost::json::array odds, hands, power;
    for (const watch::Odds& o : w.odds) odds.push_back({{"act", o.act}, {"p", o.p}});
    for (const watch::HandsWindow& h : w.hands)
        hands.push_back({{"act", h.act},
                         {"control", h.control},
                         {"from_s", h.from_s},
                         {"to_s", h.to_s},
                         {"now", h.now},
                         {"wake", h.wake},
                         {"call", h.call},
                         {"p_within", h.p_within}});
    for (cutmap::Outcome o : w.if_power_went) power.push_back(boost::json::string(cutmap::code(o)));
    boost::json::object out;
    out["release"] = run.release;
    out["started"] = iso8601(run.started);
    out["against_halt"] = run.against_halt;
    out["standing"] = boost::json::string(watch::words(w.standing));
    out["act"] = w.act;
    out["by_mark"] = w.by_mark;
    out["odds"] = odds;
    out["elapsed_s"] = w.elapsed_s;
    if (w.in_act_s) out["in_act_s"] = *w.in_act_s;
    out["restarts_seen"] = w.restarts_seen;
    out["restarts_in_script"] = w.restarts_in_script;
    out["awaited"] = w.awaited;
    out["as_slow"] = w.as_slow;
    out["wait_until_s"] = w.wait_until_s;
    out["end_in_p50_s"] = w.end_p50_s;
    out["end_in_p90_s"] = w.end_p90_s;
    out["hands"] = hands;
    out["next_act"] = w.next_act;
    out["if_power_went"] = power;
    out["if_power_went_words"] = w.if_power_went_words;
    out["rests_on"] = w.rests_on;
    out["stuck"] = w.stuck;
    out["astray"] = w.astray;
    if (w.worry.any()) {
        boost::json::array parts;
        for (const watch::WorryPart& p : w.worry.parts)
            parts.push_back(
                {{"words", p.words}, {"good", p.good}, {"stuck", p.stuck}, {"rests_on", p.rests_on.words()}});
        boost::json::object worry{{"prior", w.worry.prior},
                                  {"prior_rests_on", w.worry.prior_rests_on.words()},
                                  {"low", w.worry.low()},
                                  {"high", w.worry.high()},
                                  {"parts", std::move(parts)}};
        if (w.worry.joint) worry["joint"] = *w.worry.joint;
        out["worry"] = std::move(worry);
    }
    out["likely_stuck"] = w.likely_stuck;
    out["to_be_woken"] = w.to_be_woken;
    out["restart_loop"] = w.restart_loop;
    if (w.work)
        out["work"] = boost::json::object{{"act", w.work->act},
                                          {"done", w.work->done},
                                          {"pieces", w.work->pieces},
                                          {"seconds", w.work->seconds},
                                          {"rate_bytes_s", w.work->rate_bytes_s},
                                          {"overhead_s", w.work->overhead_s},
                                          {"total_s", w.work->total_s},
                                          {"left_s", w.work->left_s}};
    boost::json::array proposals;
    for (const watch::Proposal& p : w.proposals)
        proposals.push_back({{"at_s", p.at_s}, {"from_A", p.from_A}, {"to_A", p.to_A}, {"event", p.event}});
    out["proposals"] = std::move(proposals);
    out["settle_left_s"] = w.settle_left_s;
    out["safe_to_remove"] = w.safe_to_remove;
    if (run.times) {
        boost::json::object times{{"seconds", run.times->seconds}};
        if (run.times->promised_p90_s > 0) {
            times["promised_p50_s"] = run.times->promised_p50_s;
            times["promised_p90_s"] = run.times->promised_p90_s;
            times["kept"] = run.times->kept;
        }
        out["times"] = std::move(times);
    }
    return out;
}

namespace {

Answer answer_of(const JobRun& run, const book::Run& which, UnixMs now, const WatchOptions& options, const Look& look,
                 bool series_changed) {
    watch::StripStyle style{std::clamp(options.width, 48, 400), options.ascii, false};
    const Drawn d = draw_run(run, which, now, style, look);
    Answer a;
    a.job = run.number;
    a.level = run.level();
    a.headline = d.where.sentence;
    a.text = "\n";
    for (const std::string& l : d.lines) a.text += l + "\n";
    a.text += "Rests on: " + d.where.rests_on + ".\n";
    if (d.where.work)
        a.text += fmt::format(
            "Pace as counted: {} of {} pieces in {} at {:.1f} s a piece, so {} a second; this state takes "
            "{} in all, {} left.\n",
            d.where.work->done, d.where.work->pieces, human_duration(d.where.work->seconds), d.where.work->overhead_s,
            human_bytes(static_cast<std::uint64_t>(d.where.work->rate_bytes_s)), human_duration(d.where.work->total_s),
            human_duration(d.where.work->left_s));
    if (which.times) {
        a.text += fmt::format("Took {}", human_duration(which.times->seconds));
        if (which.times->promised_p90_s > 0)
            a.text += fmt::format("; promised were {} (even odds) to {} (9 in 10): {}",
                                  human_duration(which.times->promised_p50_s),
                                  human_duration(which.times->promised_p90_s), which.times->kept ? "kept" : "not kept");
        a.text += ".\n";
    }
    a.judgement = d.where.judgement;
    if (series_changed)
        a.judgement.add({"series-changed", Verdict::cant_say,
                         "the recorded supply of this run is not what the journal knows by its digest", "supply",
                         "digest"});
    a.width = std::max<std::size_t>(a.width, static_cast<std::size_t>(style.width));
    a.data = where_as_json(d.where, which);
    return a;
}

// Begins a run, or says why not. What ready found is appended with it, so the record shows what it was begun on.
Result<Answer> start(Context& context, JobRun& run, const WatchOptions& options) {
    if (run.job.is_open_run())
        return bad_input("run-open", "job " + run.number,
                         "the run to " + run.job.runs.back().release + " has not ended",
                         "mark its end first: fettle mark " + run.number + " ended, or broken-off");
    const UnixMs begun = context.clock->now() - static_cast<UnixMs>(1000 * options.ago_s);
    if (options.ago_s > 0 && !run.job.runs.empty() && begun < run.job.runs.back().ended.value_or(0))
        return bad_input("ago-too-long", "--ago", "the run before it had not ended then",
                         "count from when this run began: seconds, or 12m");
    if (trim(options.by).empty())
        return usage_error("start-without-name", "--by", "who begins the run is not said", "give --by NAME");
    auto step = step_or_none(run, options.step);
    if (!step) return pass(step);
    const bool planned = !run.plan.steps.empty();
    const int number = planned ? static_cast<int>(*step - run.plan.steps.data()) + 1 : 0;
    const ready::Check check = ready_of(run, **step, context.clock->now());
    const ready::MayStart may = ready::may_start(check.judgement, signatures_of(run.job));
    const std::string release = run.release_of(**step);
    Answer a;
    a.job = run.number;
    a.level = run.level();
    if (!may.yes && !options.against_halt) {
        a.headline = fmt::format("Not started: {} {} against it.", may.standing.size(),
                                 may.standing.size() == 1 ? "point stands" : "points stand");
        for (const Reason& r : may.standing) a.judgement.add(r);
        for (const Reason& r : may.standing) a.text += "  " + ready::acceptance_key(r) + "\n";
        a.text += "How to settle each is said by: fettle ready check " + run.number +
                  "\nA can't say may also be signed for: fettle ready accept " + run.number +
                  " CODE --by NAME --reason TEXT\n";
        boost::json::array standing;
        for (const Reason& r : may.standing) standing.push_back(boost::json::string(ready::acceptance_key(r)));
        a.data["begun"] = false;
        a.data["standing"] = std::move(standing);
        a.entries.push_back(ready_entry(check, number));
        return a;
    }
    a.entries.push_back(ready_entry(check, number));
    a.entries.push_back(
        {"started",
         {{"release", release.empty() ? kUnknownRelease : release}, {"by", options.by}, {"against_halt", !may.yes}}});
    if (planned) {
        a.entries.back().data["step"] = number;
        a.entries.back().data["expected"] = expected_as_json(**step);
    }
    if (options.ago_s > 0) a.entries.back().data["ago_s"] = options.ago_s;
    // Two people who start it at once start one run.
    if (auto kept = append_entries(context, run.number, a.entries, run.job.last_number); !kept) return pass(kept);
    a.entries.clear();
    a.data["begun"] = true;
    return a;
}

// --supply without staying: what the source has now, recorded and witnessed. Another watch may record: then nothing is
// taken twice.
Status take_supply_once(Context& context, JobRun& run, const WatchOptions& options, Answer& a) {
    auto supply = RunSupply::open(context, run, options.supply, options.listen);
    if (!supply) return pass(supply);
    const int most = link::is_supply_address(options.supply) ? 3 : 100'000;  // an instrument has one more at any time
    for (int i = 0; i < most && !(*supply)->rests(); ++i) (*supply)->take();
    (*supply)->end();
    for (const std::string& t : (*supply)->troubles())
        a.judgement.add({"supply-trouble", Verdict::mind, t, "supply", "tried now"});
    auto job = load_job(context, run.number);  // with what was seen broken
    if (!job) return pass(job);
    run.job = std::move(*job);
    return {};
}

}  // namespace

Result<Answer> watch_run(Context& context, const WatchOptions& options) {
    if (options.all) return watch_wall(context, options);
    if (options.job.empty())
        return usage_error("job-missing", "watch", "no job is named", "fettle watch J, or fettle watch --all");
    auto run =
        options.start ? load_job_run(context, options.job, Unidentified::allowed) : load_last_run(context, options.job);
    if (!run) return pass(run);
    if (options.test_call) return test_call(context, *run, options);
    if (options.start) {
        auto started = start(context, *run, options);
        if (!started || !started->data.at("begun").as_bool()) return started;
        auto job = load_job(context, run->number);
        if (!job) return pass(job);
        run->job = std::move(*job);
    }
    if (run->job.runs.empty()) return no_run(run->number);
    if (options.attach) return attach_run(context, *run, options);
    const bool terminal = !context.json && ::isatty(STDOUT_FILENO) == 1;
    const bool stays = !options.once && options.svg.empty() && (terminal || options.stay);
    if (!options.listen.empty() && !stays)
        return usage_error("listen-without-staying", "--listen", "other testers are heard only while the watch stays",
                           "leave --once and --svg out, and give --stay where there is no terminal");
    Answer once;
    if (stays) {
        auto followed = follow_run(context, *run, options);
        if (!followed) return pass(followed);
    } else if (!options.supply.empty()) {
        if (auto taken = take_supply_once(context, *run, options, once); !taken) return pass(taken);
    }
    const book::Run& which = run->job.runs.back();
    const SupplyRead recorded = recorded_supply(context, run->number, run->job.runs.size(), which);
    const Look look{recorded.samples, {60 * options.lead_min, options.certainty}};
    if (!options.svg.empty()) {
        const Watched w = watched(*run, which);
        watch::Observed seen = observed(which, run->on_bench());
        seen.supply = look.supply;
        const UnixMs until = seen_until(which, context.clock->now());
        const std::string svg = watch::strip_svg(w.step(), seen, watch::track(w.step(), seen, until, look.rule), until,
                                                 watch::strip_samples(seen));
        if (auto written = write_file_durably(options.svg, svg); !written) return pass(written);
    }
    Answer a = answer_of(*run, which, context.clock->now(), options, look, recorded.changed);
    for (Reason& r : once.judgement.reasons) a.judgement.add(std::move(r));
    if (options.start) a.data["begun"] = true;
    if (!options.svg.empty()) a.data["svg"] = options.svg;
    return a;
}

}  // namespace fettle::app
