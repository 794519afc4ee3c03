// The mark is appended first and looked at after, so that the answer is what the journal holds. What depends on how the
// run stood (an end, a mark that is taken back) is appended only to the journal that it was read from.
#include "fettle/workshop/mark_run.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/workshop/run_end.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

struct Kept {  // what a mark adds to the journal
    Sign sign = Sign::event;
    std::string words;
    std::optional<watch::TextMeaning> meaning;
    std::vector<NewEntry> entries;
};

Proposal begin_again(const std::string& number) {
    return propose(Act::watch, {job(number), flag("start"), flag("against-halt"), wanted("by", "NAME")});
}

// The last sign that was not taken back.
struct Last {
    std::int64_t entry = 0;
    Sign sign = Sign::event;
    std::string words;
};
std::optional<Last> last_sign(const book::Run& run) {
    std::optional<Last> last;
    const auto offer = [&](const auto& seen, Sign sign, const std::string& words) {
        if (!seen.undone && (!last || seen.entry > last->entry)) last = {seen.entry, sign, words};
    };
    for (const auto& m : run.marks) offer(m, Sign::event, m.event);
    for (const auto& t : run.texts) offer(t, Sign::text, t.text);
    for (const auto& t : run.tallies) offer(t, Sign::tally, "");
    return last;
}

Result<Kept> undo(const Workshop& shop, const JobRun& run) {
    const book::Run& of = run.job.runs.back();
    const auto last = last_sign(of);
    // The end of a run is its last sign, unless something was seen of it since.
    if (!run.job.is_open_run() && (!last || last->entry < of.ended_entry)) {
        auto entries = end_taken_back(shop, run);
        if (!entries) return pass(entries);
        return Kept{Sign::event, of.outcome == RunState::ended ? "ended" : "broken-off", {}, std::move(*entries)};
    }
    if (!last) return bad_input("nothing-to-undo", "job " + run.number, "no mark of this run stands", "mark on");
    return Kept{last->sign, last->words, {}, {{"unmark", {{"entry", last->entry}}}}};
}

Result<Kept> event(const Workshop& shop, const JobRun& run, const MarkRequest& request, UnixMs at) {
    if ((!request.with.empty() || !request.area.empty()) && request.event != "answered")
        return usage_error(
            "mark-not-answered", printable(request.event), "says nothing of how an ask was answered",
            Next{"leave ", with(flag("with")), " and ", with(flag("area")), " out, or mark answered with them"});
    Kept out{Sign::event, request.event, {}, {}};
    if (request.event == "broken-off") {
        out.entries.push_back({"ended", {{"outcome", "broken off"}}});
        return out;
    }
    if (!watch::is_event(run.family, request.event))
        return usage_error("event-unknown", printable(request.event), "no event of this family",
                           "use one of: " + join(watch::events(run.family), ", ") + ", broken-off");
    out.entries.push_back({"mark", {{"event", request.event}, {"source", request.source}}});
    if (!request.with.empty()) out.entries.back().data["how"] = request.with;
    if (!request.area.empty()) out.entries.back().data["area"] = request.area;
    // A second tap on "ended" adds the mark, never a second end.
    if (request.event == "ended" && run.job.is_open_run()) {
        for (NewEntry& e : end_entries(shop, run, at)) out.entries.push_back(std::move(e));
    }
    return out;
}

Kept text(const JobRun& run, const MarkRequest& request) {
    return {Sign::text,
            request.shows,
            watch::meaning_of(run.family, request.shows),
            {{"shows", {{"text", request.shows}, {"source", request.source}}}}};
}

// No class can count more pieces than the step offers; a box that counts again from the first after each restart can
// show as many again for each of them. What it really shows can be kept word for word.
Status possible(const JobRun& run, const watch::TallyReading& t) {
    const int total = against(run, run.job.runs.back())->sheet.tally.total;
    if (total <= 0) return {};
    const bool grows = run.family.tally && run.family.tally->total_may_grow_after_restart;
    const auto restarts = std::count_if(run.family.script.begin(), run.family.script.end(),
                                        [](const family::Act& a) { return a.kind == family::ActKind::restart; });
    const std::int64_t most = std::int64_t{total} * (grows ? restarts + 1 : 1);
    for (const auto& count : {t.landed, t.passed_over, t.refused, t.to_come})
        if (count && *count > most)
            return bad_input("tally-impossible", Words{with(flag("tally")), fmt::format(", {}", *count)},
                             fmt::format("the step offers {} pieces, so no count can be more than {}", total, most),
                             Next{"look again; if the box really shows that, keep it: ",
                                  propose(Act::mark, {job(run.number), wanted("shows", "TEXT")})});
    return {};
}

Result<Kept> tally(const JobRun& run, const MarkRequest& request, UnixMs at) {
    const auto t = watch::parse_tally(request.tally, at);
    if (!t) return pass(t);
    if (auto ok = possible(run, *t); !ok) return pass(ok);
    boost::json::object data{{"source", request.source}};
    const auto put = [&](const char* name, const std::optional<int>& v) {
        if (v) data[name] = *v;
    };
    put("landed", t->landed);
    put("passed_over", t->passed_over);
    put("refused", t->refused);
    put("to_come", t->to_come);
    return Kept{Sign::tally, "", {}, {{"tally", std::move(data)}}};
}

// May something be kept of the last run, seen at that time?
Status belongs(const JobRun& run, const MarkRequest& request, UnixMs at) {
    if (run.job.runs.empty()) return no_run(run.number);
    const book::Run& last = run.job.runs.back();
    const bool over = !run.job.is_open_run();
    if (over && request.event == "broken-off")
        return bad_input("run-ended", "job " + run.number, "the last run has ended", "nothing to do");
    if (over && !run.job.handovers.empty() && run.job.handovers.back().at > last.started)
        return bad_input("handed-over", "job " + run.number, "the last run is on a sealed sheet",
                         Next{"what came to light later is a note: ",
                              propose(Act::note, {job(run.number), wanted("text", "TEXT")})});
    if (over && !request.event.empty() && request.event != "ended" && last.ended && at > *last.ended)
        return bad_input(
            "run-ended", "job " + run.number,
            "the last run is over (" + std::string(code(last.outcome)) + "), so what is seen now is no mark of it",
            Next{"what the box does now: ", propose(Act::mend, {job(run.number), wanted("now", "…")}),
                 "; seen before the end: ", with(wanted("ago", "S")), "; if it still runs: ", begin_again(run.number)});
    constexpr UnixMs tolerance = 5000;
    if (request.ago_s > 0 && at < last.started - tolerance)
        return bad_input("ago-too-long", with(flag("ago")), "the run had not begun then",
                         "count from when it was seen: seconds, or 12m");
    return {};
}

Result<Kept> lasted(const Workshop& shop, const JobRun& run, const MarkRequest& request) {
    auto entries = lasted_entries(shop, run, request.lasted, request.by);
    if (!entries) return pass(entries);
    return Kept{Sign::lasted, request.lasted, {}, std::move(*entries)};
}

Result<Kept> kept_of(const Workshop& shop, const JobRun& run, const MarkRequest& request) {
    const UnixMs now = shop.clock->now();
    const UnixMs at = now - static_cast<UnixMs>(1000 * request.ago_s);
    if (auto ok = belongs(run, request, at); !ok) return pass(ok);
    auto out = request.undo              ? undo(shop, run)
               : !request.lasted.empty() ? lasted(shop, run, request)
               : !request.event.empty()  ? event(shop, run, request, at)
               : !request.shows.empty()  ? Result<Kept>(text(run, request))
                                         : tally(run, request, now);
    if (!out || request.ago_s <= 0) return out;
    for (NewEntry& e : out->entries) {
        if (e.type != "unmark" && e.type != "times" && e.type != "corrects") e.data["ago_s"] = request.ago_s;
    }
    return out;
}

Result<Marked> marked_now(const Workshop& shop, const MarkRequest& request) {
    auto run = load_last_run(shop, request.job);
    if (!run) return pass(run);
    auto kept = kept_of(shop, *run, request);
    if (!kept) return pass(kept);
    const bool rests_on_it = std::any_of(kept->entries.begin(), kept->entries.end(), [](const NewEntry& e) {
        return e.type == "ended" || e.type == "unmark" || e.type == "corrects";
    });
    if (auto ok = append_entries(shop, run->number, kept->entries,
                                 rests_on_it ? std::optional(run->job.last_number) : std::nullopt);
        !ok)
        return pass(ok);
    auto job = load_job(shop, run->number);
    if (!job) return pass(job);
    run->job = std::move(*job);
    return Marked{kept->sign, std::move(kept->words), request.undo, std::move(kept->meaning),
                  look_at(shop, *run, run->job.runs.size())};
}

}  // namespace

Result<Marked> mark_run(const Workshop& shop, const MarkRequest& request) {
    const int given = !request.event.empty() + !request.shows.empty() + !request.tally.empty() +
                      !request.lasted.empty() + request.undo;
    if (given != 1)
        return usage_error(
            "mark-not-single", "mark", given == 0 ? "nothing was marked" : "more than one thing was marked",
            Next{"give one event, or ", with(wanted("shows", "TEXT")), ", or ", with(wanted("tally", "…")), ", or ",
                 with(wanted("lasted", "TIME")), ", or ", with(flag("undo"))});
    return until_journal_rests([&] { return marked_now(shop, request); });
}

}  // namespace fettle::workshop
