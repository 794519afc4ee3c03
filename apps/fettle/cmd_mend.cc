#include "cmd_mend.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/mend/mend.h"
#include "fettle/show/print.h"
#include "fettle/watch/align.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/store.h"

namespace fettle::app {
namespace {

const char* const kKinds[] = {"wait",          "same card",        "laid-again card",
                              "recovery card", "power off and on", "other supply"};

Status check_words(const MendOptions& o) {
    if (!mend::power_named(o.power))
        return usage_error("mend-word", printable(o.power), "it is neither lost nor kept", "say --power lost or kept");
    if (!mend::now_named(o.now))
        return usage_error("mend-word", printable(o.now), "the box does none of starts, recovery, goes-on, dark",
                           "say what it does now: --now starts, recovery, goes-on or dark");
    if (o.release.size() > 64)
        return usage_error("mend-word", shortened(printable(o.release)), "it is longer than any release is",
                           "say what the version view shows, e.g. --release 27.3.118");
    if (!o.supply.empty() && o.supply != "holds")
        return usage_error("mend-word", printable(o.supply), "only \"holds\" can be said of the supply",
                           "say --supply holds, when it does");
    if (o.dark_for_s && o.now != "dark")
        return usage_error("mend-word", "--dark-for", "it goes with --now dark", "say --now dark --dark-for 5m");
    if (o.tried.empty() != o.came.empty())
        return usage_error("mend-word", "--tried", "what was tried and what came of it go together",
                           "give both: --tried \"same card\" --came nothing");
    if (!o.tried.empty() && std::find(std::begin(kKinds), std::end(kKinds), o.tried) == std::end(kKinds))
        return usage_error("mend-word", printable(o.tried), "it is no kind of attempt",
                           "say wait, same card, laid-again card, recovery card or power off and on");
    if (!o.came.empty() && o.came != "done" && o.came != "nothing" && o.came != "better" && o.came != "worse")
        return usage_error("mend-word", printable(o.came), "it is none of done, nothing, better, worse",
                           "say --came nothing, better, worse or done");
    return {};
}

// What was tried since a run to this release broke: as told, and every run begun again to it that broke as well.
std::vector<mend::Tried> tried_of(const book::Job& job) {
    std::vector<mend::Tried> out;
    const std::string& release = job.runs.back().release;
    for (std::size_t i = 0; i < job.runs.size(); ++i) {
        const book::Run& r = job.runs[i];
        if (r.release != release) continue;
        for (const book::Attempt& t : r.attempts) out.push_back({t.kind, t.came});
        const bool again = std::any_of(job.runs.begin() + static_cast<std::ptrdiff_t>(i) + 1, job.runs.end(),
                                       [&](const book::Run& x) { return x.release == release; });
        if (again && r.outcome == "broken off" && r.attempts.empty()) out.push_back({"same card", "begun again"});
    }
    return out;
}

// The last certain sign before the trouble, in seconds since the start.
mend::Seen seen_of(const JobRun& run, const book::Run& last, UnixMs trouble) {
    mend::Seen out;
    const auto seconds = [&](UnixMs at) { return std::max(0.0, static_cast<double>(at - last.started) / 1000); };
    watch::Observed seen = observed(last, run.on_bench());
    std::erase_if(seen.marks, [&](const watch::Mark& m) {
        return m.undone || m.at >= trouble || m.event == "link-silent" || m.event == "broken-off";
    });
    std::erase_if(seen.shown, [&](const watch::ShownText& t) { return t.at >= trouble; });
    const auto& script = run.family.script;
    if (!script.empty()) {
        const watch::Alignment marks =
            watch::align(script, seen, trouble, [](std::size_t, std::size_t) { return 0.0; });
        if (!marks.anchors.empty() && !marks.astray) {
            out.act = script[marks.anchors.back().act].id;
            out.act_at_s = marks.anchors.back().at_s;
        }
    }
    for (const watch::Mark& m : seen.marks) out.alive_s = std::max(out.alive_s, seconds(m.at));
    for (const watch::ShownText& t : seen.shown) out.alive_s = std::max(out.alive_s, seconds(t.at));
    for (const watch::TallyReading& t : seen.tally) {
        if (t.at >= trouble) continue;
        out.alive_s = std::max(out.alive_s, seconds(t.at));
        if (!t.landed) continue;
        out.landed = t.landed;
        out.landed_at_s = seconds(t.at);
    }
    out.trouble_s = std::max(out.alive_s, seconds(trouble));
    out.ended = last.outcome == "ended";
    for (const std::string& text : last.shown)
        out.refused = out.refused || watch::meaning_of(run.family, text).refused_piece;
    const auto refused = last.tally.find("refused");
    out.refused = out.refused || (refused != last.tally.end() && refused->second > 0);
    return out;
}

boost::json::object chance_json(const mend::Chance& c) {
    return {{"low", c.low}, {"high", c.high}};
}

boost::json::array texts(const std::vector<std::string>& list) {
    boost::json::array out;
    for (const auto& t : list) out.push_back(boost::json::string(t));
    return out;
}

boost::json::object as_json_data(const mend::Answer& m) {
    boost::json::array places, outcomes, attempts, withheld;
    for (const mend::Place& p : m.places) {
        boost::json::array o;
        for (const auto x : p.outcomes) o.push_back(boost::json::string(cutmap::code(x)));
        boost::json::object place{{"act", p.act}, {"cell", p.cell}, {"p", p.p}, {"outcomes", std::move(o)}};
        if (!p.piece.empty()) place["piece"] = p.piece;
        places.push_back(std::move(place));
    }
    for (const auto& [o, c] : m.outcomes) {
        boost::json::object x = chance_json(c);
        x["outcome"] = boost::json::string(cutmap::code(o));
        outcomes.push_back(std::move(x));
    }
    for (const mend::Attempt& t : m.attempts)
        attempts.push_back({{"kind", json_word(t.kind)},
                            {"words", t.words},
                            {"most", t.most},
                            {"done", t.done},
                            {"helps", chance_json(t.helps)},
                            {"p50_s", t.p50_s},
                            {"p90_s", t.p90_s},
                            {"writes", texts(t.writes)},
                            {"stop", t.stop},
                            {"risk", t.risk},
                            {"who", t.who}});
    for (const mend::Withheld& w : m.withheld) withheld.push_back({{"kind", json_word(w.kind)}, {"why", w.why}});
    return {{"places", std::move(places)},
            {"outcomes", std::move(outcomes)},
            {"before", texts(m.before)},
            {"attempts", std::move(attempts)},
            {"withheld", std::move(withheld)},
            {"no_net", m.no_net},
            {"stop", m.stop},
            {"nothing_to_mend", m.nothing_to_mend},
            {"look", m.look},
            {"stop_rule", m.stop_rule},
            {"who_goes_on", m.who_goes_on},
            {"rests_on", m.rests_on}};
}

std::string chance_words(const mend::Chance& c) {
    const auto n = [](double p) {
        return p > 0 && p < 0.005 ? std::string("<1")
               : p >= 0.995       ? std::string(">99")
                                  : fmt::format("{:.0f}", 100 * p);
    };
    return c.high - c.low < 0.005 ? n(c.high) + " in 100" : fmt::format("{} to {} in 100", n(c.low), n(c.high));
}

// Acts with their odds together, likeliest first.
std::string places_text(const mend::Answer& m, bool reckoned_lost) {
    std::vector<std::pair<std::string, double>> acts;
    for (const mend::Place& p : m.places) {
        const auto a = std::find_if(acts.begin(), acts.end(), [&](const auto& x) { return x.first == p.words; });
        if (a == acts.end())
            acts.emplace_back(p.words, p.p);
        else
            a->second += p.p;
    }
    std::string out = reckoned_lost ? "where it can have been\n" : "where it can be\n";
    for (const auto& [words, p] : acts) out += fmt::format("  {:<14} {}\n", chance_words({p, p}), words);
    return out;
}

std::string as_text_page(const mend::Answer& m, bool reckoned_lost) {
    std::string out;
    if (!m.places.empty()) out += places_text(m, reckoned_lost);
    if (!m.outcomes.empty()) {
        out += reckoned_lost ? "what that leaves\n" : "what losing its power there leaves\n";
        for (const auto& [o, c] : m.outcomes) out += fmt::format("  {:<14} {}\n", chance_words(c), cutmap::words(o));
    }
    for (const std::string& b : m.before) out += "before anything else\n  " + b + "\n";
    if (!m.attempts.empty()) out += "what may be tried, in this order\n";
    int n = 0;
    for (const mend::Attempt& t : m.attempts) {
        if (t.kind == "hand over") {
            out += fmt::format("  then {}\n", t.words);
            continue;
        }
        out += fmt::format("  {} {}\n", ++n, t.words);
        out += fmt::format("    at most {}{}; helps in {}; shows it within {} (half), {} (9 in 10); by {}\n",
                           t.most == 1 ? "once" : fmt::format("{} times", t.most),
                           t.done > 0 ? fmt::format(", {} of them done", t.done) : "", chance_words(t.helps),
                           human_duration(t.p50_s), human_duration(t.p90_s), t.who);
        if (!t.writes.empty()) out += "    writes " + join(t.writes, ", ") + " and nothing else\n";
        if (!t.risk.empty()) out += "    " + t.risk + "\n";
        if (!t.stop.empty()) out += "    stop: " + t.stop + "\n";
    }
    if (!m.withheld.empty()) out += "what is not offered\n";
    for (const mend::Withheld& w : m.withheld) out += fmt::format("  {}: {}\n", w.kind, w.why);
    if (!m.stop_rule.empty()) out += "when to stop\n  " + m.stop_rule + "\n";
    if (!m.rests_on.empty()) out += "Rests on: " + m.rests_on + ".\n";
    return out;
}

// Of a run that nobody can describe: as if every write had no way back, so nothing is tried.
mend::Answer no_way_known(bool ended) {
    mend::Answer m;
    if (ended) {
        m.nothing_to_mend = true;
        m.sentence = "Nothing to mend: the box said that it was done. What it left is for the proof.";
        return m;
    }
    m.sentence =
        "Can't say what can have happened: what a run of this family does is not known. Keep it fed, switch nothing "
        "off, "
        "take no card out.";
    m.before = {"do not switch anything off, and take no card out: every write counts as if it had no way back"};
    m.attempts.push_back(
        {"hand over", "hand it over to whoever has the maker's papers", "", "", "", 1, 0, {}, 0, 0, {}});
    m.withheld.push_back({"same card", "neither the step script nor the boot order is known: it could make it worse"});
    m.stop = true;
    m.who_goes_on = "whoever has the maker's papers";
    m.judgement.add({"mend-no-script", Verdict::cant_say,
                     "the family file does not say what its run does, or the run was begun without a plan", "mend",
                     "family file"});
    m.judgement.add({"boot-order-unknown", Verdict::cant_say,
                     "the boot order is not known: every write counts as if it had no way back", "mend",
                     "family file"});
    return m;
}

}  // namespace

Result<Answer> mend_job(Context& context, const MendOptions& options) {
    if (auto ok = check_words(options); !ok) return pass(ok);
    auto run = load_last_run(context, options.job);
    if (!run) return pass(run);
    if (run->job.runs.empty())
        return bad_input("no-run", "job " + run->number, "no run was begun, so there is nothing to mend",
                         "begin one: fettle watch " + run->number + " --start --by NAME");
    const book::Run& last = run->job.runs.back();
    const Watched w = watched(*run, last);
    const bool nothing_known =
        run->family.script.empty() || w.sheet->lines.empty() || (w.map->moments.empty() && !w.map->boot_order_known);
    const UnixMs now = context.clock->now();
    const book::Aftermath said = last.aftermath.value_or(book::Aftermath{});
    const auto over = [](const std::string& typed, const std::string& earlier) {
        return typed.empty() ? earlier : typed;
    };
    mend::Found found;
    const std::string power = over(options.power, said.power);
    found.power = mend::power_named(power).value_or(mend::Power::not_said);
    found.now = mend::now_named(over(options.now, said.now)).value_or(mend::Now::not_said);
    found.release = over(options.release, said.release);
    // Dark only counts once a good run would have been lit again; until then nothing is told by it, and nothing kept.
    const double darkest_s = std::max(60.0, mend::longest_dark_s(run->family, *w.forecast));
    if (options.now == "dark" && !options.dark_for_s)
        return usage_error("mend-word", "--now dark", "for how long it has been dark, fed, is not said",
                           fmt::format("a good run is dark for up to {}; say for how long: --now dark --dark-for 5m",
                                       human_duration(darkest_s)));
    const bool dark_early = options.now == "dark" && *options.dark_for_s < darkest_s;
    if (dark_early) found.now = mend::Now::not_said;
    found.supply_holds = over(options.supply, said.supply) == "holds";
    const UnixMs trouble =
        options.broke_ago_s ? now - static_cast<UnixMs>(1000 * *options.broke_ago_s) : last.ended.value_or(now);
    if (trouble < last.started)
        return bad_input("ago-too-long", "--broke-ago", "the run had not begun then",
                         "count from when it was seen: seconds");
    std::vector<mend::Tried> tried = tried_of(run->job);
    if (!options.tried.empty()) tried.push_back({options.tried, options.came});
    const cutmap::CutMap map =
        nothing_known ? cutmap::CutMap() : cutmap::power_cut_map(run->family, *w.sheet, *w.forecast, 2);
    mend::Question q{run->family, *w.sheet,         *w.forecast, map, seen_of(*run, last, trouble),
                     found,       std::move(tried), {},          {}};
    if (run->job.is_open_run() && found.power == mend::Power::kept) {
        const watch::Where where = watch::track(w.step(), observed(last, run->on_bench()), now);
        q.stuck_low = where.worry.any() ? where.worry.low() : where.stuck;
        q.stuck_high = where.worry.any() ? where.worry.high() : where.stuck;
    }
    const mend::Answer m = nothing_known ? no_way_known(q.seen.ended && !q.seen.refused) : mend::mend(q);
    Answer a;
    a.job = run->number;
    a.level = run->level();
    a.headline = m.sentence;
    if (dark_early) {
        const std::string early =
            fmt::format("dark for {} says nothing yet: a good run is dark for up to {}; keep it fed until then",
                        human_duration(*options.dark_for_s), human_duration(darkest_s));
        a.headline = "Wait: " + early + ". " + a.headline;
        a.judgement.add({"mend-dark-early", Verdict::cant_say, early, "mend", "forecast"});
    }
    a.text = as_text_page(m, found.power == mend::Power::lost || mend::restarted_by_itself(q));
    if (!options.shows.empty()) {
        const watch::TextMeaning meaning = watch::meaning_of(run->family, options.shows);
        a.text += meaning.known
                      ? fmt::format("It shows \"{}\": {}; next: {} ({})\n", printable(options.shows), meaning.meaning,
                                    meaning.next, meaning.sure)
                      : fmt::format("It shows \"{}\", which the family file does not know; kept word for word.\n",
                                    printable(options.shows));
        if (!meaning.known)
            a.judgement.add({"text-unknown", Verdict::cant_say,
                             fmt::format("\"{}\" is not known to this family", printable(options.shows)), "mend",
                             "typed"});
    }
    a.judgement.add(m.judgement);
    a.data = as_json_data(m);
    a.data["release"] = last.release;
    boost::json::object aftermath;
    const auto keep = [&](const char* key, const std::string& value) {
        if (!value.empty()) aftermath[key] = value;
    };
    const bool told = !options.power.empty() || !options.now.empty() || !options.shows.empty() ||
                      !options.release.empty() || !options.supply.empty();
    if (told) {
        keep("power", power);
        keep("now", dark_early ? "" : over(options.now, said.now));
        keep("shows", over(options.shows, said.shows));
        keep("release", found.release);
        keep("supply", found.supply_holds ? "holds" : "");
        keep("by", options.by);
        a.entries.push_back({"aftermath", std::move(aftermath)});
    }
    if (!options.tried.empty())
        a.entries.push_back({"attempt", {{"kind", options.tried}, {"came", options.came}, {"by", options.by}}});
    if (!m.nothing_to_mend)
        a.entries.push_back({"advised",
                             {{"sentence", m.sentence},
                              {"first", m.attempts.empty() ? "" : m.attempts.front().kind},
                              {"no_net", m.no_net},
                              {"stop", m.stop}}});
    return a;
}

}  // namespace fettle::app
