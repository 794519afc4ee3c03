#include "cmd_watch.h"

#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <thread>

#include "cmd_ready.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/watch/strip.h"
#include "job_store.h"

namespace fettle::app {
namespace {

tl::unexpected<Error> no_run(const std::string& job) {
    return bad_input("no-run", "job " + job, "no run was begun",
                     "begin one: fettle watch " + job + " --start --by NAME");
}

// Everything that is drawn of a run at one instant.
struct Drawn {
    watch::Where where;
    std::vector<std::string> lines;
};

Drawn draw(const JobRun& run, const book::Run& which, UnixMs now, const watch::StripStyle& style) {
    const Watched w = watched(run, which);
    const watch::Observed seen = observed(which, run.on_bench());
    const UnixMs until = seen_until(which, now);
    Drawn out;
    out.where = watch::track(w.step(), seen, until);
    out.lines = watch::strip(w.step(), seen, out.where, until, {}, style);
    if (which.outcome == "broken off") {
        out.where.standing = watch::Standing::astray;
        out.where.sentence = "Broken off; at its last moment: " + out.where.sentence;
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
                         {"wake", h.wake}});
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
    return out;
}

Answer answer_of(const JobRun& run, const book::Run& which, UnixMs now, const WatchOptions& options) {
    watch::StripStyle style{std::clamp(options.width, 48, 400), options.ascii, false};
    const Drawn d = draw(run, which, now, style);
    Answer a;
    a.job = run.number;
    a.headline = d.where.sentence;
    a.text = "\n";
    for (const std::string& l : d.lines) a.text += l + "\n";
    a.text += "Rests on: " + d.where.rests_on + ".\n";
    a.judgement = d.where.judgement;
    a.width = std::max<std::size_t>(a.width, static_cast<std::size_t>(style.width));
    a.data = where_as_json(d.where, which);
    return a;
}

// Redraws in place: one write a frame, each line cleared to its end, so that nothing flickers.
class Frame {
public:
    void show(const std::vector<std::string>& lines) {
        std::string out;
        if (drawn_ > 0) out += fmt::format("\033[{}A\r", drawn_);
        for (const std::string& l : lines) out += l + "\033[K\n";
        out += "\033[J";
        drawn_ = lines.size();
        std::fwrite(out.data(), 1, out.size(), stdout);
        std::fflush(stdout);
    }
    void clear() {
        if (drawn_ > 0) std::printf("\033[%zuA\r\033[J", drawn_);
        drawn_ = 0;
        std::fflush(stdout);
    }

private:
    std::size_t drawn_ = 0;
};

// Until the run has ended. Every second the job is read anew, so marks of another terminal are seen at once; nothing is
// kept here that a kill could lose.
Result<book::Job> follow(Context& context, JobRun& run, const WatchOptions& options) {
    const watch::StripStyle style{std::clamp(options.width, 48, 400), options.ascii, true};
    Frame frame;
    while (true) {
        const Drawn d = draw(run, run.job.runs.back(), context.clock->now(), style);
        std::vector<std::string> lines = d.lines;
        for (const Reason& r : d.where.judgement.reasons) {
            if (r.verdict != Verdict::fit)
                lines.push_back(printable(fmt::format("{}: {}", words(r.verdict), r.text)).substr(0, 160));
        }
        frame.show(lines);
        if (!run.job.is_open_run()) break;
        std::this_thread::sleep_for(std::chrono::seconds(1));
        auto job = load_job(context, run.number);
        if (!job) {
            frame.clear();
            return pass(job);
        }
        run.job = std::move(*job);
    }
    frame.clear();
    return run.job;
}

// Begins a run, or says why not. What ready found is appended with it, so the record shows what it was begun on.
Result<Answer> start(Context& context, JobRun& run, const WatchOptions& options) {
    if (run.job.is_open_run())
        return bad_input("run-open", "job " + run.number,
                         "the run to " + run.job.runs.back().release + " has not ended",
                         "mark its end first: fettle mark " + run.number + " ended, or broken-off");
    if (trim(options.by).empty())
        return usage_error("start-without-name", "--by", "who begins the run is not said", "give --by NAME");
    auto step = run.step(options.step);
    if (!step) return pass(step);
    const int number = static_cast<int>(*step - run.plan.steps.data()) + 1;
    const ready::Check check = ready_of(run, **step, context.clock->now());
    const ready::MayStart may = ready::may_start(check.judgement, signatures_of(run.job));
    Answer a;
    a.job = run.number;
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
         {{"release", (*step)->release.release}, {"step", number}, {"by", options.by}, {"against_halt", !may.yes}}});
    if (auto kept = append_entries(context, run.number, a.entries); !kept) return pass(kept);
    a.entries.clear();
    a.data["begun"] = true;
    return a;
}

}  // namespace

Result<Answer> watch_run(Context& context, const WatchOptions& options) {
    auto run = load_job_run(context, options.job);
    if (!run) return pass(run);
    if (options.start) {
        auto started = start(context, *run, options);
        if (!started || !started->data.at("begun").as_bool()) return started;
        auto job = load_job(context, run->number);
        if (!job) return pass(job);
        run->job = std::move(*job);
    }
    if (run->job.runs.empty()) return no_run(run->number);
    if (!options.svg.empty()) {
        const book::Run& which = run->job.runs.back();
        const Watched w = watched(*run, which);
        const watch::Observed seen = observed(which, run->on_bench());
        const UnixMs until = seen_until(which, context.clock->now());
        const std::string svg = watch::strip_svg(w.step(), seen, watch::track(w.step(), seen, until), until);
        if (auto written = write_file_durably(options.svg, svg); !written) return pass(written);
    }
    const bool live = !options.once && options.svg.empty() && !context.json && ::isatty(STDOUT_FILENO) == 1;
    if (live) {
        auto job = follow(context, *run, options);
        if (!job) return pass(job);
    }
    Answer a = answer_of(*run, run->job.runs.back(), context.clock->now(), options);
    if (options.start) a.data["begun"] = true;
    if (!options.svg.empty()) a.data["svg"] = options.svg;
    return a;
}

namespace {

// The last mark, text or tally of the run that was not taken back: its entry and what it was.
std::optional<std::pair<std::int64_t, std::string>> last_sign(const book::Run& run) {
    std::optional<std::pair<std::int64_t, std::string>> last;
    const auto offer = [&](std::int64_t entry, bool undone, std::string words) {
        if (!undone && (!last || entry > last->first)) last = {entry, std::move(words)};
    };
    for (const auto& m : run.marks) offer(m.entry, m.undone, "mark \"" + m.event + "\"");
    for (const auto& t : run.texts) offer(t.entry, t.undone, "text \"" + printable(t.text) + "\"");
    for (const auto& t : run.tallies) offer(t.entry, t.undone, "tally");
    return last;
}

Result<Answer> undo(const JobRun& run) {
    const book::Run& r = run.job.runs.back();
    const auto last = last_sign(r);
    if (!last) return bad_input("nothing-to-undo", "job " + run.number, "no mark of this run stands", "mark on");
    if (last->second == "mark \"ended\"" && !run.job.is_open_run())
        return bad_input("end-not-undone", "job " + run.number, "the run is recorded as ended, and that stays",
                         "if it still runs, begin it again: watch " + run.number + " --start --against-halt --by NAME");
    Answer a;
    a.headline = "Taken back: " + last->second + ".";
    a.entries.push_back({"unmark", {{"entry", last->first}}});
    return a;
}

Result<Answer> mark_event(const JobRun& run, const MarkOptions& options) {
    Answer a;
    if (options.event == "broken-off") {
        a.headline = "Marked: broken off.";
        a.entries.push_back({"ended", {{"outcome", "broken off"}}});
        return a;
    }
    if (!watch::is_event(run.family, options.event))
        return usage_error("event-unknown", printable(options.event), "no event of this family",
                           "use one of: " + join(watch::events(run.family), ", ") + ", broken-off");
    a.headline = "Marked: " + options.event + ".";
    a.entries.push_back({"mark", {{"event", options.event}, {"source", options.source}}});
    if (options.event == "ended") a.entries.push_back({"ended", {{"outcome", "ended"}}});
    return a;
}

Result<Answer> mark_text(const JobRun& run, const MarkOptions& options) {
    const watch::TextMeaning m = watch::meaning_of(run.family, options.shows);
    Answer a;
    a.headline = m.known
                     ? fmt::format("\"{}\": {}. Next: {} ({}).", printable(options.shows), m.meaning, m.next, m.sure)
                     : fmt::format("\"{}\" is not known to this family; kept word for word.", printable(options.shows));
    a.entries.push_back({"shows", {{"text", options.shows}, {"source", options.source}}});
    return a;
}

Result<Answer> mark_tally(const MarkOptions& options, UnixMs now) {
    const auto t = watch::parse_tally(options.tally, now);
    if (!t) return pass(t);
    boost::json::object data{{"source", options.source}};
    const auto put = [&](const char* name, const std::optional<int>& v) {
        if (v) data[name] = *v;
    };
    put("landed", t->landed);
    put("passed_over", t->passed_over);
    put("refused", t->refused);
    put("to_come", t->to_come);
    Answer a;
    a.headline = "Kept the tally.";
    a.entries.push_back({"tally", data});
    return a;
}

}  // namespace

// The mark is appended first and shown after, so that the answer is what the journal holds.
Result<Answer> mark_run(Context& context, const MarkOptions& options) {
    const int given = !options.event.empty() + !options.shows.empty() + !options.tally.empty() + options.undo;
    if (given != 1)
        return usage_error("mark-not-single", "mark",
                           given == 0 ? "nothing was marked" : "more than one thing was marked",
                           "give one event, or --shows TEXT, or --tally …, or --undo");
    auto run = load_job_run(context, options.job);
    if (!run) return pass(run);
    if (run->job.runs.empty()) return no_run(run->number);
    if (!run->job.is_open_run() && !options.undo && options.event == "broken-off")
        return bad_input("run-ended", "job " + run->number, "the last run has ended", "nothing to do");
    auto marked = options.undo             ? undo(*run)
                  : !options.event.empty() ? mark_event(*run, options)
                  : !options.shows.empty() ? mark_text(*run, options)
                                           : mark_tally(options, context.clock->now());
    if (!marked) return marked;
    // A second tap on "ended" adds the mark, never a second end.
    if (!run->job.is_open_run()) {
        auto& e = marked->entries;
        e.erase(std::remove_if(e.begin(), e.end(), [](const NewEntry& x) { return x.type == "ended"; }), e.end());
    }
    if (auto kept = append_entries(context, run->number, marked->entries); !kept) return pass(kept);
    auto job = load_job(context, run->number);
    if (!job) return pass(job);
    run->job = std::move(*job);
    const Drawn d = draw(*run, run->job.runs.back(), context.clock->now(), {});
    Answer a;
    a.job = run->number;
    a.headline = marked->headline;
    a.text = d.where.sentence + "\nIf power went now: " + d.where.if_power_went_words + ".\n";
    a.judgement = d.where.judgement;
    a.data = where_as_json(d.where, run->job.runs.back());
    return a;
}

}  // namespace fettle::app
