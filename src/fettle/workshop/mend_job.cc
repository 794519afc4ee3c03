#include "fettle/workshop/mend_job.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

Status check_words(const MendRequest& r) {
    if (r.release.size() > 64)
        return usage_error("mend-word", shortened(printable(r.release)), "it is longer than any release is",
                           Next{"say what the version view shows, e.g. ", with(given("release", "27.3.118"))});
    if (r.tried.has_value() != r.came.has_value())
        return usage_error("mend-word", with(flag("tried")), "what was tried and what came of it go together",
                           Next{"give both: ", with(given("tried", "same card")), " ", with(given("came", "nothing"))});
    if (r.dark_for_s && r.now != mend::Now::dark)
        return usage_error("mend-word", with(flag("dark-for")), "it goes with what is dark now",
                           Next{"say ", with(given("now", "dark")), " ", with(given("dark-for", "5m"))});
    return {};
}

// Where nothing came of it, what was seen before still stands; but taking its power is a cut.
bool changes_what_it_shows(const Tried& t) {
    return t.came != Came::nothing || t.kind == MendKind::power_off_and_on;
}

// What is said now, over what was said earlier; `early`: then it counts as not said what the box does.
mend::Found found_of(const MendRequest& r, const book::Aftermath& said, bool early) {
    mend::Found out;
    out.power = r.power ? *r.power : mend::power_named(said.power).value_or(mend::Power::not_said);
    // What was seen before its power went, or before an attempt that changed something, is no sight of what it does
    // now.
    const bool old = (r.power && !said.power.empty() && mend::words(*r.power) != said.power) ||
                     (r.tried && changes_what_it_shows({*r.tried, *r.came}));
    const auto before = old ? std::nullopt : mend::now_named(said.now);
    out.now = early ? mend::Now::not_said : r.now ? *r.now : before.value_or(mend::Now::not_said);
    out.release = !r.release.empty() ? r.release : old ? std::string() : said.release;
    if (r.tried == MendKind::power_off_and_on && !r.power) out.power = mend::Power::lost;
    out.supply_holds = r.supply_holds || said.supply == "holds";
    return out;
}

// Dark only counts once a good run would have been lit again; until then nothing is told by it, and nothing kept.
Result<std::optional<DarkEarly>> dark_early(const MendRequest& r, const watch::Against& of) {
    if (r.now != mend::Now::dark) return std::nullopt;
    const double good_run_s = std::max(60.0, mend::longest_dark_s(of.family, of.forecast));
    if (!r.dark_for_s)
        return usage_error(
            "mend-word", with(given("now", "dark")), "for how long it has been dark, fed, is not said",
            Next{fmt::format("a good run is dark for up to {}; say for how long: ", human_duration(good_run_s)),
                 with(given("now", "dark")), " ", with(given("dark-for", "5m"))});
    if (*r.dark_for_s >= good_run_s) return std::nullopt;
    return DarkEarly{*r.dark_for_s, good_run_s};
}

// What a further cut could lead to is asked, too. The journal keeps the outcomes of one cut only; a plan that looked at
// two has both.
cutmap::CutMap map_of_two_cuts(const watch::Against& of) {
    return of.map.cuts >= 2 ? of.map : cutmap::power_cut_map(of.family, of.sheet, of.forecast, 2);
}

json::object aftermath_of(const MendRequest& r, const book::Aftermath& said, const mend::Found& found) {
    json::object out;
    const auto keep = [&](const char* key, std::string_view value) {
        if (!value.empty()) out[key] = value;
    };
    keep("power", mend::words(found.power));
    keep("now", mend::words(found.now));
    keep("shows", r.shows.empty() ? said.shows : r.shows);
    keep("release", found.release);
    keep("supply", found.supply_holds ? "holds" : "");
    keep("by", r.by);
    return out;
}

std::vector<NewEntry> entries_of(const MendRequest& r, const book::Aftermath& said, const mend::Found& found,
                                 const mend::Answer& m) {
    std::vector<NewEntry> out;
    const bool told = r.power || r.now || !r.shows.empty() || !r.release.empty() || r.supply_holds ||
                      (r.tried && changes_what_it_shows({*r.tried, *r.came}));
    if (told) out.push_back({"aftermath", aftermath_of(r, said, found)});
    if (r.tried) out.push_back({"attempt", {{"kind", code(*r.tried)}, {"came", code(*r.came)}, {"by", r.by}}});
    if (!m.nothing_to_mend)
        out.push_back({"advised",
                       {{"sentence", m.sentence},
                        {"first", m.attempts.empty() ? std::string_view() : code(m.attempts.front().kind)},
                        {"no_net", m.no_net},
                        {"stop", m.stop}}});
    return out;
}

void judge(Mended& out) {
    if (out.dark_early)
        out.judgement.add(
            {"mend-dark-early", Verdict::cant_say,
             fmt::format("dark for {} says nothing yet: a good run is dark for up to {}; keep it fed "
                         "until then",
                         human_duration(out.dark_early->for_s), human_duration(out.dark_early->good_run_s)),
             "mend", "forecast"});
    if (out.meaning && !out.meaning->known)
        out.judgement.add({"text-unknown", Verdict::cant_say,
                           fmt::format("\"{}\" is not known to this family", printable(out.shows)), "mend", "typed"});
    out.judgement.add(out.answer.judgement);
}

Result<JobRun> run_to_mend(const Workshop& shop, const std::string& number) {
    auto run = load_last_run(shop, number);
    if (!run || !run->job.runs.empty()) return run;
    return bad_input("no-run", "job " + run->number, "no run was begun, so there is nothing to mend",
                     Next{"begin one: ", propose(Act::watch, {job(run->number), flag("start"), wanted("by", "NAME")})});
}

// No run of this job broke; but what was found is an update that somebody else left half done.
std::optional<Mended> begun_elsewhere(const Workshop& shop, const std::string& number) {
    const auto run = load_job_run(shop, number);
    if (!run || !run->job.runs.empty()) return std::nullopt;
    const auto& reasons = run->plan.judgement.reasons;
    const auto half =
        std::find_if(reasons.begin(), reasons.end(), [](const Reason& r) { return r.code == "found-half-done"; });
    if (half == reasons.end()) return std::nullopt;
    Mended out;
    out.job = run->number;
    out.level = run->level();
    out.release = run->plan.to;
    out.answer.sentence = "No run of this job broke, but an update was begun elsewhere and has not come to its end.";
    out.answer.before = {
        "feed it from a supply that holds; with no card in it, see whether it starts as usual, and write "
        "down what it shows"};
    out.answer.look = "does it start as usual, fed and without a card?";
    out.answer.rests_on = half->rests_on.words() + " list";
    Reason why = *half;
    why.next = Next{"then see what stands against the step from here: ", propose(Act::check_ready, {job(run->number)})};
    out.judgement.add(why);
    return out;
}

// When the trouble began.
Result<UnixMs> trouble_of(const MendRequest& r, const book::Run& last, UnixMs now) {
    const UnixMs at = r.broke_ago_s ? now - static_cast<UnixMs>(1000 * *r.broke_ago_s) : last.ended.value_or(now);
    if (at >= last.started) return at;
    return bad_input("ago-too-long", with(flag("broke-ago")), "the run had not begun then",
                     "count from when it was seen: seconds");
}

Result<Mended> mended_now(const Workshop& shop, const MendRequest& request) {
    const auto run = run_to_mend(shop, request.job);
    if (!run) return pass(run);
    const book::Run& last = run->job.runs.back();
    const auto held = against(*run, last);
    const UnixMs now = shop.clock->now();
    const auto early = dark_early(request, *held);
    if (!early) return pass(early);
    const auto trouble = trouble_of(request, last, now);
    if (!trouble) return pass(trouble);
    const book::Aftermath said = last.aftermath.value_or(book::Aftermath{});
    const mend::Found found = found_of(request, said, early->has_value());
    std::vector<Tried> tried = tried_of(run->job);
    if (request.tried) tried.push_back({*request.tried, *request.came});
    const bool nothing_known = run->family.script.empty() || held->sheet.lines.empty() ||
                               (held->map.moments.empty() && !held->map.boot_order_known);
    const cutmap::CutMap map = nothing_known ? cutmap::CutMap() : map_of_two_cuts(*held);
    mend::Question q{run->family, held->sheet, held->forecast, map, seen_of(*run, *trouble), found, std::move(tried),
                     {},          {}};
    if (run->job.is_open_run() && found.power == mend::Power::kept) {
        const watch::Where where = where_is(*run, last, run_now(shop, run->job, last));
        q.stuck_low = where.worry.any() ? where.worry.low() : where.stuck;
        q.stuck_high = where.worry.any() ? where.worry.high() : where.stuck;
    }
    Mended out;
    out.job = run->number;
    out.level = run->level();
    out.release = last.release;
    out.dark_early = *early;
    out.answer = nothing_known ? mend::no_way_known(q.seen.ended && !q.seen.refused) : mend::mend(q);
    for (Reason& r : out.answer.judgement.reasons) r.next.name_job(run->number);
    out.power_went = found.power == mend::Power::lost || mend::restarted_by_itself(q);
    out.shows = request.shows;
    if (!request.shows.empty()) out.meaning = watch::meaning_of(run->family, request.shows);
    judge(out);
    const std::vector<NewEntry> entries = entries_of(request, said, found, out.answer);
    if (entries.empty()) return out;
    if (auto kept = append_entries(shop, run->number, entries, run->job.last_number); !kept) return pass(kept);
    return out;
}

}  // namespace

Result<Mended> mend_job(const Workshop& shop, const MendRequest& request) {
    if (auto ok = check_words(request); !ok) return pass(ok);
    if (auto elsewhere = begun_elsewhere(shop, request.job)) return std::move(*elsewhere);
    return until_journal_rests([&] { return mended_now(shop, request); });
}

}  // namespace fettle::workshop
