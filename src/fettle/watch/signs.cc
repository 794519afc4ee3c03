#include "fettle/watch/signs.h"

#include <algorithm>

#include "fettle/watch/align.h"

namespace fettle::watch {

bool says_ended(const Mark& mark) {
    return !mark.undone && event_of({}, mark.event).kind == Event::Kind::ended;
}

Observed with_end(Observed seen) {
    const bool marked = std::any_of(seen.marks.begin(), seen.marks.end(), says_ended);
    if (seen.state == RunState::ended && seen.over_at && !marked)
        seen.marks.push_back({"ended", *seen.over_at, "journal", false});
    return seen;
}

std::vector<Sign> signs_of(const std::vector<family::Act>& script, const Observed& seen) {
    std::vector<Sign> out;
    const auto s_of = [&](UnixMs at) { return static_cast<double>(std::max(at, seen.started) - seen.started) / 1000; };
    for (const Mark& m : seen.marks) {
        if (m.undone) continue;
        Sign s;
        s.at_s = s_of(m.at);
        s.event = event_of(script, m.event);
        // It stands where it asks, as it did before: what the mark says of the script is align()'s.
        if (s.event.kind == Event::Kind::skipped && std::any_of(script.begin(), script.end(), stops_unanswered))
            continue;
        s.machine = m.source == "link" || m.source == "amps" || m.source == "stand-in";
        s.answered = s.event.kind == Event::Kind::link_answers;
        if (s.answered || s.event.kind == Event::Kind::link_silent) s.kind = Sign::Kind::link;
        out.push_back(std::move(s));
    }
    for (const ShownText& t : seen.shown) {
        Sign s;
        s.kind = Sign::Kind::text;
        s.text = t.text;
        s.at_s = s_of(t.at);
        out.push_back(std::move(s));
    }
    for (const TallyReading& r : seen.tally) {
        Sign s;
        s.kind = Sign::Kind::tally;
        s.counts = r;
        s.at_s = s_of(r.at);
        out.push_back(std::move(s));
    }
    std::stable_sort(out.begin(), out.end(), [](const Sign& a, const Sign& b) { return a.at_s < b.at_s; });
    return out;
}

}  // namespace fettle::watch
