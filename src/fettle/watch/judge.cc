// The reasons of an answer: pace, stuck, texts, tally, marks; and what it all rests on.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "fettle/base/text.h"
#include "fettle/watch/track.h"

namespace fettle::watch {
namespace {

using family::ActKind;

constexpr UnixMs kOneMoment_ms = 10'000;  // two people, or two taps, tell of one thing within it
constexpr UnixMs kOneDark_ms = 30'000;    // likewise while nobody has seen it lit in between

// How often it went dark or restarted beyond the script, by events: what several people mark of one is one, in whatever
// words, and how many marks there are says nothing.
int restarts_too_many(const Track& t) {
    std::vector<const Mark*> in_time;
    for (const Mark& m : t.seen.marks)
        if (!m.undone) in_time.push_back(&m);
    std::stable_sort(in_time.begin(), in_time.end(), [](const Mark* a, const Mark* b) { return a->at < b->at; });
    int marked = 0, scripted = 0;
    UnixMs last = 0;
    bool lit_since = true;
    for (const Mark* m : in_time) {
        const Event event = event_of(t.script(), m->event);
        const family::Act* act = event.kind == Event::Kind::act && event.act ? &t.script()[*event.act] : nullptr;
        const bool goes = event.kind == Event::Kind::dark || event.kind == Event::Kind::restarted ||
                          (act && (act->dark || act->kind == ActKind::restart));
        if (!goes) {
            lit_since = lit_since || event.kind == Event::Kind::back || act;
            continue;
        }
        const UnixMs since = m->at - last;
        if (marked > 0 && (since < kOneMoment_ms || (!lit_since && since < kOneDark_ms))) continue;
        ++marked;
        last = m->at;
        lit_since = false;
    }
    const auto& script = t.script();
    for (std::size_t i = 0; i < script.size(); ++i) {
        const bool dark = script[i].dark && (i == 0 || !script[i - 1].dark);
        scripted += dark || (script[i].kind == ActKind::restart && !script[i].dark);
    }
    return marked - scripted;
}

// Whoever looked, or asked over the link, has seen what it showed before.
bool changes_screen(const Track& t, const Mark& m) {
    const Event::Kind kind = event_of(t.script(), m.event).kind;
    return kind != Event::Kind::still && kind != Event::Kind::link_answers && kind != Event::Kind::link_silent;
}

}  // namespace

void judge_marks(Track& t) {
    if (t.marks.odd_times > 0)
        t.say("clock-jumped", Verdict::mind,
              fmt::format("{} of the marks lie before the start or after now; the clock was changed, or another "
                          "machine's clock differs",
                          t.marks.odd_times),
              "marks");
    for (const std::string& e : t.marks.odd_events)
        t.say("mark-unknown", Verdict::mind,
              fmt::format("\"{}\" is no event of this family; it is kept and not used", printable(e)), "marks");
    if (t.w.restarts_seen > t.w.restarts_in_script)
        t.say("more-restarts-than-script", Verdict::cant_say,
              fmt::format("it restarted {} times, the script has {}", t.w.restarts_seen, t.w.restarts_in_script),
              "marks");
    const int more = restarts_too_many(t);
    t.w.restart_loop = more >= 2;
    if (t.w.restart_loop)
        t.say("restart-loop", Verdict::cant_say,
              fmt::format("it went dark {} times more than the script has it: likely a restart loop; keep it fed, do "
                          "not take the medium out, go on with mend",
                          more),
              "marks");
    if (t.amps.left_out() > 0)
        t.say("supply-readings-left-out", Verdict::mind,
              fmt::format("{} readings of the supply were left out: no figure, or a time that cannot be",
                          t.amps.left_out()),
              "supply");
    // What sleeps draws the same nothing for long; what works does not.
    const auto lately = t.amps.lately(30);
    if (lately && lately->mean > kAsleep_A && t.amps.same_for_s() >= 60)
        t.say("supply-unchanging", Verdict::mind,
              fmt::format("the supply has given the very same figures for {}: an old value, or a meter with coarse "
                          "steps; look at its own display",
                          human_duration(t.amps.same_for_s())),
              "supply");
}

void judge_pace(Track& t) {
    Where& w = t.w;
    w.pace = slow_words(w.as_slow);
    const std::string& rests = t.step().forecast.rests_on;
    // Whoever has to answer or to feed it sets that pace, not the unit.
    if (t.waits_for_hand || w.to_be_woken) return;
    if (w.likely_stuck) return;  // said already, and more of it
    if (w.as_slow < kOverdue) {
        t.say_while_open(
            "overdue", Verdict::cant_say,
            fmt::format("\"{}\" has not been marked, and {}; look at the unit, mark what it shows, keep it fed",
                        w.awaited, w.pace),
            rests);
    } else if (w.as_slow < kSlow) {
        t.say_while_open("slow-here", Verdict::mind, fmt::format("{} is late: {}", w.awaited, w.pace), rests);
    }
    if (!t.follower->anchored() && w.elapsed_s > 0)
        t.say_while_open("no-marks-yet", Verdict::mind,
                         t.amps.empty() ? "nothing was marked yet: this goes by elapsed time alone"
                                        : "nothing was marked yet: this goes by elapsed time and the supply current",
                         t.amps.empty() ? "elapsed time" : "elapsed time, supply current");
}

void judge_stuck(Track& t) {
    Where& w = t.w;
    const auto lately = t.amps.lately(30);
    std::optional<bool> low;
    // Low where the script has it is no sign of anything.
    const double expected_A = t.model->chain()[t.k].mean_A;
    if (lately && expected_A > t.model->low_A() && t.model->low_A() > 0)
        low = lately->mean <= t.model->low_A() && lately->sd <= 0.15 * t.model->low_A() + 0.03;
    std::optional<WorryPart> silent;
    if (t.follower->anchored() && w.as_slow < 1 && !t.waits_for_hand) {
        const double since_s = std::max(0.0, w.elapsed_s - t.follower->anchor_s());
        silent = WorryPart{
            fmt::format("{} for {}", t.follower->silence_seen() ? "silent" : "nothing marked", human_duration(since_s)),
            std::max(w.as_slow, 1e-4), 1, t.step().forecast.rests_on};
    }
    w.worry = worry_of(t.step().family.stuck, silent, low);
    w.likely_stuck = !w.to_be_woken && w.stuck >= 0.5;
    const bool late = w.as_slow < kSlow || low.value_or(false);
    if (w.to_be_woken || t.waits_for_hand || !(late || w.likely_stuck)) {
        if (!late) w.worry.parts.clear();
        return;
    }
    if (!t.follower->silence_seen() && !low && !w.likely_stuck) return;  // nobody has looked: late, and that is all
    const std::string wait = w.wait_until_s > 0
                                 ? fmt::format("; wait {} more, then mend", human_duration(w.wait_until_s))
                                 : "; go on with mend";
    t.say(w.likely_stuck ? "likely-stuck" : "may-be-stuck", w.likely_stuck ? Verdict::cant_say : Verdict::mind,
          worry_words(w.worry) + wait + "; do not cut the power", "prior, silence and current as said");
}

void judge_texts(Track& t) {
    const Observed& seen = t.seen;
    // A later text or mark takes a text off the screen; that a piece was refused stays true.
    const auto still_shown = [&](const ShownText& text) {
        return std::none_of(seen.shown.begin(), seen.shown.end(),
                            [&](const ShownText& other) { return other.at > text.at; }) &&
               std::none_of(seen.marks.begin(), seen.marks.end(),
                            [&](const Mark& m) { return !m.undone && m.at > text.at && changes_screen(t, m); });
    };
    for (const ShownText& shown : seen.shown) {
        const TextMeaning m = meaning_of(t.step().family, shown.text);
        if (!m.refused_piece && !still_shown(shown)) continue;
        const std::string text = printable(shown.text);
        if (!m.known) {
            t.say("text-unknown", Verdict::cant_say,
                  fmt::format("the box shows \"{}\", which the family file does not know; {}", text,
                              t.w.wait_until_s > 0 ? fmt::format("wait {} before anything else is done",
                                                                 human_duration(t.w.wait_until_s))
                                                   : "keep it fed and ask the maker"),
                  "typed");
        } else if (m.refused_piece) {
            std::string effect;
            for (const change::Line& line : t.step().sheet.lines) {
                if (line.name != m.piece || m.piece.empty()) continue;
                const family::Region* region = t.step().family.region(line.box, line.region);
                effect = fmt::format("; {} ({}) stays as it was while the rest goes on", line.name,
                                     region ? region->words : line.region);
            }
            if (effect.empty()) effect = "; which piece it was the as-left list will say";
            t.say("piece-refused", Verdict::cant_say,
                  fmt::format("\"{}\": {}{}; next: {}{}; no handover before it is settled", text, m.meaning, effect,
                              m.next, m.retry.empty() ? "" : "; to try again: " + m.retry),
                  m.sure);
        } else {
            t.say("text-known", m.sure.is_guess() ? Verdict::mind : Verdict::fit,
                  fmt::format("\"{}\": {}; next: {}", text, m.meaning, m.next), m.sure);
        }
    }
}

void judge_tally(Track& t) {
    const change::ExpectedTally& expected = t.step().sheet.tally;
    if (const auto b = check_tally(t.step().family, expected, t.seen.tally))
        t.say("tally-breaks", Verdict::cant_say,
              fmt::format("reading {} of the tally cannot be right: {}", b->reading + 1, b->why), "typed");
    std::string retry;
    for (const family::Message& m : t.step().family.messages) {
        if (m.refused_piece && !m.retry.empty()) retry = "; to try again: " + m.retry;
    }
    for (const TallyReading& r : t.seen.tally) {
        if (r.refused.value_or(0) <= expected.refused.high) continue;
        t.say("piece-refused", Verdict::cant_say,
              fmt::format("the tally shows {} refused, {} expected; which piece it was the as-left list will say{}; no "
                          "handover before it is settled",
                          *r.refused, expected.refused.expected, retry),
              "typed");
        break;
    }
}

void rests_on(Track& t) {
    std::set<std::string> sources;
    std::size_t used = 0;
    for (const Mark& m : t.seen.marks) {
        if (m.undone) continue;
        ++used;
        sources.insert(m.source);
    }
    std::string& out = t.w.rests_on;
    out = used == 0 ? "elapsed time alone"
                    : fmt::format("{} {} ({})", used, used == 1 ? "mark" : "marks",
                                  join({sources.begin(), sources.end()}, ", "));
    if (!t.amps.empty()) out = (used == 0 ? "" : out + "; ") + "supply current";
    out += "; durations: " + (t.step().forecast.rests_on.empty() ? "family file" : t.step().forecast.rests_on.words());
    if (t.step().sheet.rests_on == Origin::inferred) out += "; as-found list inferred";
}

std::string slow_words(double share) {
    if (share >= 0.995) return "every good run takes this long here";
    if (share < kNeverSo) return "fewer than 1 in 250 good runs are this slow here";
    // Small whole numbers that a person can picture: 2 in 3 rather than 0.66.
    if (share > 0.9) return "nearly every good run takes this long here";
    if (share > 0.5) {
        const auto n = static_cast<int>(std::lround(1 / (1 - share)));
        return fmt::format("{} in {} good runs are this slow here", n - 1, n);
    }
    auto n = static_cast<int>(std::lround(1 / share));
    if (n > 20) n = (n + 5) / 10 * 10;
    return fmt::format("1 in {} good runs are this slow here", n);
}

TextMeaning meaning_of(const family::Family& family, std::string_view text) {
    for (const family::Message& m : family.messages) {
        const bool named = m.refused_piece && text.size() > m.text.size() + 1 &&
                           text.substr(0, m.text.size()) == m.text &&
                           (text[m.text.size()] == ' ' || text[m.text.size()] == ':');
        if (m.text != text && !named) continue;
        TextMeaning out{true, m.meaning, m.next, m.sure, m.refused_piece, "", m.retry};
        if (named) out.piece = std::string(trim(text.substr(m.text.size() + 1)));
        return out;
    }
    for (const family::Act& a : family.script) {
        if (!a.shows.empty() && a.shows == text)
            return {true, "it " + a.words, "nothing to do", "family file", false, "", ""};
    }
    return {};
}

}  // namespace fettle::watch
