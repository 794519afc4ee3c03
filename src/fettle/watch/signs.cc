// What was seen, as signs in order of time.
#include <algorithm>

#include "fettle/watch/follower.h"

namespace fettle::watch {

std::vector<Sign> signs_of(const Observed& seen, UnixMs now) {
    std::vector<Sign> out;
    const UnixMs end = std::max(now, seen.started);
    // A time before the start or after now is another clock's: it counts as the nearest that can be.
    const auto s_of = [&](UnixMs at) {
        return static_cast<double>(std::clamp(at, seen.started, end) - seen.started) / 1000;
    };
    const auto machine = [](const std::string& source) {
        return source == "link" || source == "amps" || source == "stand-in";
    };
    for (const Mark& m : seen.marks) {
        if (m.undone) continue;
        Sign s;
        s.at_s = s_of(m.at);
        s.what = m.event;
        s.machine = machine(m.source);
        if (m.event == "link-answers" || m.event == "link-silent") {
            s.kind = Sign::Kind::link;
            s.answered = m.event == "link-answers";
        }
        out.push_back(std::move(s));
    }
    for (const ShownText& t : seen.shown) {
        Sign s;
        s.kind = Sign::Kind::text;
        s.what = t.text;
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
    for (std::size_t i = 0; i < out.size(); ++i) out[i].order = i;
    std::sort(out.begin(), out.end(),
              [](const Sign& a, const Sign& b) { return a.at_s != b.at_s ? a.at_s < b.at_s : a.order < b.order; });
    return out;
}

}  // namespace fettle::watch
