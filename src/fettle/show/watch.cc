#include "fettle/show/watch.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/ready/ready.h"
#include "fettle/show/where.h"

namespace fettle::show {
namespace {

std::string pace_words(const watch::Work& w) {
    return fmt::format(
        "Pace as counted: {} of {} pieces in {} at {:.1f} s a piece, so {} a second; this state takes {} in all, {} "
        "left.\n",
        w.done, w.pieces, human_duration(w.seconds), w.overhead_s,
        human_bytes(static_cast<std::uint64_t>(w.rate_bytes_s)), human_duration(w.total_s), human_duration(w.left_s));
}

std::string times_words(const book::RunTimes& t) {
    if (t.doubt == "clock") return "";  // said with the reasons
    std::string out = fmt::format("Took {}", human_duration(t.seconds));
    if (workshop::asks_how_long(t)) return out + "; not counted yet.\n";  // why: with the reasons
    if (!t.doubt.empty()) return out + "; it teaches nothing: " + workshop::doubt_words(t) + ".\n";
    if (t.promised_p90_s > 0)
        out += fmt::format("; promised were {} (even odds) to {} (9 in 10): {}", human_duration(t.promised_p50_s),
                           human_duration(t.promised_p90_s), t.kept ? "kept" : "not kept");
    return out + ".\n";
}

void fold_into(std::vector<std::string>& lines, std::string text, std::size_t width) {
    while (text.size() > width) {
        auto cut = text.rfind(' ', width);
        if (cut == std::string::npos || cut <= 2) cut = width;
        lines.push_back(text.substr(0, cut));
        text = "  " + std::string(trim(text.substr(cut)));
    }
    lines.push_back(std::move(text));
}

}  // namespace

Answer run_looked_at(const workshop::RunLook& look, watch::StripStyle style) {
    style.sentence = false;
    Answer a;
    a.level = look.level;
    a.headline = look.where.sentence;
    a.text = "\n";
    for (const std::string& l : look.follow.follow().strip(look.where, style)) a.text += l + "\n";
    a.text += "Rests on: " + look.where.rests_on + ".\n";
    if (look.where.work) a.text += pace_words(*look.where.work);
    if (look.run.times) a.text += times_words(*look.run.times);
    a.judgement = look.judgement;
    a.width = std::max<std::size_t>(a.width, static_cast<std::size_t>(style.width));
    a.data = where_as_json(look.where, look.run);
    return a;
}

Answer not_started(const workshop::Started& started) {
    Answer a;
    a.level = started.level;
    a.headline = fmt::format("Not started: {} {} against it.", started.standing.size(),
                             started.standing.size() == 1 ? "point stands" : "points stand");
    json::array standing;
    for (const Reason& r : started.standing) {
        const std::string key = ready::acceptance_key(r);
        a.judgement.add(r);
        a.text += "  " + key + "\n";
        standing.push_back(json::string(key));
    }
    a.text += "How to settle each is said by: ";
    a.text += propose(Act::check_ready, {fettle::job(started.job)});
    const auto may_be_signed_for = [](const Reason& r) { return r.verdict == Verdict::cant_say; };
    if (std::any_of(started.standing.begin(), started.standing.end(), may_be_signed_for)) {
        a.text += "\nA can't say may also be signed for: ";
        a.text += propose(Act::accept, {fettle::job(started.job), wanted("code", "CODE"), wanted("by", "NAME"),
                                        wanted("reason", "TEXT")});
    }
    a.text += "\n";
    a.data["begun"] = false;
    a.data["standing"] = std::move(standing);
    return a;
}

std::vector<std::string> tick_lines(const watch::Follow& follow, const watch::Where& where,
                                    const std::vector<std::string>& notes, const watch::StripStyle& style) {
    std::vector<std::string> lines = follow.strip(where, style);
    for (const Reason& r : where.judgement.reasons) {
        if (r.verdict != Verdict::fit)
            fold_into(lines, printable(fmt::format("{}: {}", words(r.verdict), r.text)),
                      static_cast<std::size_t>(style.width));
    }
    lines.insert(lines.end(), notes.begin(), notes.end());
    return lines;
}

Answer watch_silent(const std::string& job, const workshop::AttachToRun::Tick& tick) {
    Answer a;
    a.headline = tick.words;
    a.judgement.add({"no-heartbeat", Verdict::cant_say,
                     "the watch that this terminal is attached to has fallen silent: nobody calls for hands", job,
                     "heartbeat"});
    a.data["silent_s"] = tick.silent_s.value_or(0);
    a.data["alarmed"] = true;
    return a;
}

Answer watch_heard_to_end() {
    Answer a;
    a.headline = "The run has ended; the watch was heard to its end.";
    a.data["alarmed"] = false;
    return a;
}

Answer test_called(const workshop::TestCalled& called) {
    const auto& [by, failed] = called.rung;
    Answer a;
    a.headline = by.empty() ? "No means of calling works here."
                            : fmt::format("Called by {}. Was it heard where you will be?", join(by, ", "));
    a.text = "Say so: ";
    a.text += propose(Act::answer, {fettle::job(called.job), given("answer", "call=heard")});
    a.text += "   (or call=not-heard, or call=staying)\n";
    if (!failed.empty())
        a.judgement.add({"call-means-missing", Verdict::mind,
                         fmt::format("cannot be used here: {}", join(failed, ", ")), called.job, "tried now"});
    if (by.empty())
        a.judgement.add({"no-call-works", Verdict::cant_say,
                         "nothing here can call for hands: stay at the box, or give a command of your own (--hook)",
                         called.job, "tried now"});
    a.data["by"] = texts_as_json(by);
    a.data["failed"] = texts_as_json(failed);
    return a;
}

}  // namespace fettle::show
