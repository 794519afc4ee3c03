// fettle mark J EVENT: what a person saw at the box, kept in the journal.
#include <fmt/core.h>

#include <algorithm>

#include "cmd_watch.h"
#include "fettle/base/text.h"
#include "fettle/workshop/run_supply.h"
#include "fettle/workshop/run_times.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
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

Result<Answer> mark_event(const JobRun& run, const MarkOptions& options, UnixMs now) {
    Answer a;
    if ((!options.with.empty() || !options.area.empty()) && options.event != "answered")
        return usage_error("mark-not-answered", printable(options.event),
                           "takes no --with or --area: they say how an ask was answered",
                           "mark answered with them, or leave them out");
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
    if (!options.with.empty()) a.entries.back().data["how"] = options.with;
    if (!options.area.empty()) a.entries.back().data["area"] = options.area;
    if (options.event == "ended") {
        a.entries.push_back({"ended", {{"outcome", "ended"}}});
        const book::Run& which = run.job.runs.back();
        const Watched w = watched(run, which);
        a.entries.push_back(times_entry(run.family.id, which, now, w.forecast->total.p50_s, w.forecast->total.p90_s));
    }
    return a;
}

Result<Answer> mark_text(const JobRun& run, const MarkOptions& options) {
    const watch::TextMeaning m = watch::meaning_of(run.family, options.shows);
    Answer a;
    a.headline =
        m.known ? fmt::format("\"{}\": {}. Next: {} ({}).", printable(options.shows), m.meaning, m.next, m.sure.words())
                : fmt::format("\"{}\" is not known to this family; kept word for word.", printable(options.shows));
    a.entries.push_back({"shows", {{"text", options.shows}, {"source", options.source}}});
    return a;
}

// No class can count more pieces than the step offers; a box that counts anew after each restart can show as many again
// for each of them. What it really shows can be kept word for word.
Status possible(const JobRun& run, const watch::TallyReading& t) {
    const int total = watched(run, run.job.runs.back()).sheet->tally.total;
    if (total <= 0) return {};
    const bool grows = run.family.tally && run.family.tally->total_may_grow_after_restart;
    const auto restarts = std::count_if(run.family.script.begin(), run.family.script.end(),
                                        [](const family::Act& a) { return a.kind == family::ActKind::restart; });
    const std::int64_t most = std::int64_t{total} * (grows ? restarts + 1 : 1);
    for (const auto& count : {t.landed, t.passed_over, t.refused, t.to_come})
        if (count && *count > most)
            return bad_input(
                "tally-impossible", fmt::format("--tally, {}", *count),
                fmt::format("the step offers {} pieces, so no count can be more than {}", total, most),
                "look again; if the box really shows that, keep it: fettle mark " + run.number + " --shows TEXT");
    return {};
}

Result<Answer> mark_tally(const JobRun& run, const MarkOptions& options, UnixMs now) {
    const auto t = watch::parse_tally(options.tally, now);
    if (!t) return pass(t);
    if (auto ok = possible(run, *t); !ok) return pass(ok);
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

// What a mark adds to the journal, by what the job holds now.
Result<Answer> marked_on(const JobRun& run, const MarkOptions& options, UnixMs now) {
    if (run.job.runs.empty()) return no_run(run.number);
    if (!run.job.is_open_run() && !options.undo && options.event == "broken-off")
        return bad_input("run-ended", "job " + run.number, "the last run has ended", "nothing to do");
    const book::Run& last = run.job.runs.back();
    if (!run.job.is_open_run() && !run.job.handovers.empty() && run.job.handovers.back().at > last.started)
        return bad_input("handed-over", "job " + run.number, "the last run is on a sealed sheet",
                         "what came to light later is a note: fettle job note " + run.number + " TEXT");
    if (!run.job.is_open_run() && !options.event.empty() && options.event != "ended" && last.ended &&
        now - static_cast<UnixMs>(1000 * options.ago_s) > *last.ended)
        return bad_input(
            "run-ended", "job " + run.number,
            "the last run is over (" + std::string(code(last.outcome)) + "), so what is seen now is no mark of it",
            fmt::format("what the box does now: fettle mend {0} --now …; seen before the end: --ago S; if it "
                        "still runs: fettle watch {0} --start --against-halt --by NAME",
                        run.number));
    constexpr UnixMs tolerance = 5000;
    if (options.ago_s > 0 && now - static_cast<UnixMs>(1000 * options.ago_s) < last.started - tolerance)
        return bad_input("ago-too-long", "--ago", "the run had not begun then",
                         "count from when it was seen: seconds, or 12m");
    auto marked = options.undo             ? undo(run)
                  : !options.event.empty() ? mark_event(run, options, now - static_cast<UnixMs>(1000 * options.ago_s))
                  : !options.shows.empty() ? mark_text(run, options)
                                           : mark_tally(run, options, now);
    if (!marked) return marked;
    if (options.ago_s > 0) {
        for (NewEntry& e : marked->entries) {
            if (e.type != "unmark" && e.type != "times") e.data["ago_s"] = options.ago_s;
        }
    }
    // A second tap on "ended" adds the mark, never a second end.
    if (!run.job.is_open_run())
        std::erase_if(marked->entries, [](const NewEntry& e) { return e.type == "ended" || e.type == "times"; });
    return marked;
}

}  // namespace

// The mark is appended first and shown after, so that the answer is what the journal holds. An end is appended only to
// the journal that it was read from: two people who mark it at once end the run once.
Result<Answer> mark_run(Context& context, const MarkOptions& options) {
    const int given = !options.event.empty() + !options.shows.empty() + !options.tally.empty() + options.undo;
    if (given != 1)
        return usage_error("mark-not-single", "mark",
                           given == 0 ? "nothing was marked" : "more than one thing was marked",
                           "give one event, or --shows TEXT, or --tally …, or --undo");
    Result<JobRun> run = JobRun();
    Result<Answer> marked = Answer();
    for (int tries = 0;; ++tries) {
        run = load_last_run(context, options.job);
        if (!run) return pass(run);
        marked = marked_on(*run, options, context.clock->now());
        if (!marked) return marked;
        const bool ends = std::any_of(marked->entries.begin(), marked->entries.end(),
                                      [](const NewEntry& e) { return e.type == "ended" || e.type == "unmark"; });
        const auto kept = append_entries(context, run->number, marked->entries,
                                         ends ? std::optional(run->job.last_number) : std::nullopt);
        if (kept) break;
        if (kept.error().code != "journal-moved" || tries >= 50) return pass(kept);
    }
    auto job = load_job(context, run->number);
    if (!job) return pass(job);
    run->job = std::move(*job);
    const SupplyRead recorded = recorded_supply(context, run->number, run->job.runs.size(), run->job.runs.back());
    const Drawn d = draw_run(*run, run->job.runs.back(), context.clock->now(), {}, {recorded.samples, {}});
    Answer a;
    a.job = run->number;
    a.level = run->level();
    a.headline = marked->headline;
    a.text = d.where.sentence + "\n";
    if (run->job.runs.back().outcome == book::Outcome::broken_off)
        a.text += "What can have happened and what may be tried: fettle mend " + run->number + "\n";
    else if (run->job.is_open_run())
        a.text += "If power went now: " + d.where.if_power_went_words + ".\n";
    a.judgement = d.where.judgement;
    a.data = where_as_json(d.where, run->job.runs.back());
    return a;
}

}  // namespace fettle::app
