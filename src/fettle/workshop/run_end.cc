#include "fettle/workshop/run_end.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "fettle/base/text.h"
#include "fettle/workshop/asks_skipped.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/run_times.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// The run as it would be, had it ended then.
book::Run ended_then(book::Run run, UnixMs at) {
    run.outcome = RunState::ended;
    run.ended = at;
    return run;
}

bool end_in_doubt(const JobRun& run, const book::Run& ended) {
    return where_is(run, ended, *ended.ended).end_in_doubt;
}

NewEntry corrects(std::int64_t entry, const char* field, boost::json::value value, const std::string& why,
                  const std::string& by) {
    return {"corrects", {{"entry", entry}, {"field", field}, {"value", std::move(value)}, {"why", why}, {"by", by}}};
}

// Asks that nobody answered change what a run takes.
bool asks_left(const JobRun& run, const book::Run& ended) {
    book::Job job = run.job;
    job.runs.back() = ended;
    return !asks_skipped(run.family, job).empty() &&
           std::any_of(ended.marks.begin(), ended.marks.end(),
                       [](const book::RunMark& m) { return !m.undone && m.event == "skipped"; });
}

}  // namespace

std::vector<NewEntry> end_entries(const Workshop& shop, const JobRun& run, UnixMs at) {
    const book::Run& open = run.job.runs.back();
    const forecast::Quantiles promised = against(run, open)->forecast.total;
    const auto step = clock_step_now(shop, run.job);
    const UnixMs off = shop.clock->now() - run_now(shop, run.job, open);  // what the clock was set by meanwhile
    const double seconds = static_cast<double>(at - off - open.started) / 1000;
    const book::Run ended = ended_then(open, std::max(open.started, at - off));
    const bool early = end_in_doubt(run, ended);
    const std::string doubt = clock_doubted(open, step) ? "clock"
                              : early                   ? "early"
                              : open.continued          ? "continued"
                              : asks_left(run, ended)   ? "skipped"
                                                        : odd_length(seconds, promised);
    NewEntry end{"ended", {{"outcome", "ended"}}};
    if (early) end.data["early"] = true;
    const forecast::Quantiles none;  // of a run that goes on from another nothing was promised
    return {std::move(end), times_entry(run.family.id, open, seconds, open.continued ? none : promised, doubt)};
}

Result<std::vector<NewEntry>> lasted_entries(const Workshop& shop, const JobRun& run, const std::string& said,
                                             const std::string& by) {
    if (trim(by).empty())
        return usage_error("lasted-without-name", with(flag("by")), "who says how long it took is not said",
                           Next{"give ", with(wanted("by", "NAME"))});
    if (run.job.runs.empty() || run.job.runs.back().outcome != RunState::ended || !run.job.runs.back().times)
        return bad_input("run-not-ended", "job " + run.number, "no run of it has ended, so none has taken any time",
                         Next{"mark its end first: ", propose(Act::mark, {job(run.number), given("event", "ended")})});
    const book::Run& last = run.job.runs.back();
    const book::RunTimes& t = *last.times;
    if (said == "not-known")
        return std::vector{corrects(t.entry, "doubt", "struck", "how long it took is not known", by)};
    if (said == "as-marked") {
        if (t.doubt != "short" && t.doubt != "long")
            return bad_input("nothing-in-doubt", with(given("lasted", "as-marked")),
                             t.doubt.empty() ? "how long it took is not in doubt"
                                             : "by what was marked how long it took cannot be said",
                             "say how long it took, as 31m, or not-known");
        return std::vector{corrects(t.entry, "doubt", nullptr, "it lasted as marked", by)};
    }
    const auto seconds = number_in<double>(said);
    if (!seconds || !(*seconds > 0))
        return usage_error("lasted-unreadable", printable(said), "is no length of a run",
                           "say 31m or 1860 (seconds), as-marked or not-known");
    const double since_s = static_cast<double>(shop.clock->now() - last.started) / 1000;
    if (last.clock_set.empty() && *seconds > since_s + 60)
        return bad_input("lasted-impossible", human_duration(*seconds),
                         "the run began only " + human_duration(since_s) + " ago",
                         "look at the clock, and say it again");
    const book::Run ended = ended_then(last, last.started + static_cast<UnixMs>(1000 * *seconds));
    if (end_in_doubt(run, ended))
        return bad_input("lasted-impossible", human_duration(*seconds),
                         "no good run ends so early, or nothing was written: it has not done its work",
                         Next{"see what may be tried: ", propose(Act::mend, {job(run.number)}),
                              "; if its time is not known, say not-known"});
    boost::json::object scored;
    score(scored, *seconds, t.promised_p50_s, t.promised_p90_s);
    const std::string why = "it lasted " + human_duration(*seconds);
    const std::string stays = t.doubt == "continued" || t.doubt == "skipped" ? t.doubt : "";
    std::vector<NewEntry> out;
    for (const char* member : {"seconds", "kept", "loss_s"})
        if (const auto* v = scored.if_contains(member)) out.push_back(corrects(t.entry, member, *v, why, by));
    if (!t.doubt.empty() && stays.empty()) out.push_back(corrects(t.entry, "doubt", nullptr, why, by));
    if (last.early) out.push_back(corrects(last.ended_entry, "early", nullptr, why, by));
    // The end's own instant, where the clock can be believed: it is kept as so many seconds before its entry.
    if (!clock_doubted(last)) {
        const double ago_s = static_cast<double>(last.ended_at_entry - last.started) / 1000 - *seconds;
        if (ago_s >= 0 && ago_s <= 30 * 86400.0) out.push_back(corrects(last.ended_entry, "ago_s", ago_s, why, by));
    }
    return out;
}

Result<std::vector<NewEntry>> end_taken_back(const Workshop& shop, const JobRun& run) {
    const book::Run& last = run.job.runs.back();
    const auto record = read_job(shop, run.number);
    if (!record) return pass(record);
    static const std::set<std::string_view> rests_not = {"mark",     "unmark",    "shows",  "tally",  "called",
                                                         "series",   "note",      "times",  "breach", "kept",
                                                         "recorded", "aftermath", "advised"};
    for (const book::Entry& e : record->entries)
        if (e.number > last.ended_entry && !rests_not.contains(e.type))
            return bad_input(
                "end-not-undone", "job " + run.number,
                fmt::format("what was kept since rests on it (entry {}, {})", e.number, e.type),
                Next{"if it still runs, begin it again: ",
                     propose(Act::watch, {job(run.number), flag("start"), flag("against-halt"), wanted("by", "NAME")}),
                     "; if it ended at another time: ",
                     propose(Act::mark, {job(run.number), wanted("lasted", "31m"), wanted("by", "NAME")})});
    std::vector<NewEntry> out;
    for (const book::RunMark& m : last.marks)
        if (!m.undone && m.event == "ended") out.push_back({"unmark", {{"entry", m.entry}}});
    out.push_back({"unmark", {{"entry", last.ended_entry}}});
    if (last.times) out.push_back({"unmark", {{"entry", last.times->entry}}});
    return out;
}

}  // namespace fettle::workshop
