// The one sentence above the strip, and the run along its own time axis.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/watch/track.h"

namespace fettle::watch {
namespace {

std::string span(double from_s, double to_s) {
    const auto a = std::llround(from_s / 60), b = std::llround(to_s / 60);
    if (b < 1) return "within a minute";
    return a == b ? fmt::format("in about {} min", b) : fmt::format("in {} to {} min", a, b);
}

std::string running_words(const Track& t) {
    const Where& w = t.w;
    if (w.to_be_woken) return fmt::format("Likely waiting to be woken: feed {} now.", t.act(t.k).wake);
    if (w.likely_stuck)
        return fmt::format(
            "Likely stuck where it {}: {}; {}.", t.act(t.k).words,
            w.worry.high() - w.worry.low() > 0.005
                ? fmt::format("{:.0f} to {:.0f} in 100", w.worry.low() * 100, w.worry.high() * 100)
                : chance_words(w.stuck),
            w.wait_until_s > 0 ? "wait " + human_duration(w.wait_until_s) + " more, then mend" : "go on with mend");
    if (t.overdue) {
        const std::string s = t.follower->anchored() ? fmt::format("Overdue, not seen yet: {}", w.awaited)
                                                     : "By elapsed time alone it should have ended";
        return s + "; look at the unit and mark what it shows.";
    }
    const bool end = t.model->chain()[t.k].end;
    const bool sure = w.by_mark || (!w.odds.empty() && w.odds.front().p >= 0.9);
    std::string s = end    ? "By elapsed time alone it should have ended"
                    : sure ? "It " + t.act(t.k).words
                           : "It probably " + t.act(t.k).words;
    if (!t.follower->anchored() && !end) s += t.amps.empty() ? " (by elapsed time alone)" : " (by its current)";
    const HandsWindow* hand = w.hands.empty() ? nullptr : &w.hands.front();
    if (hand && hand->now) {
        s += hand->wake               ? "; feed it now: " + hand->control
             : t.follower->anchored() ? "; hands are needed now"
                                      : "; hands may be needed now: look";
    } else if (hand) {
        s += fmt::format("; hands {}", span(hand->from_s, hand->to_s));
    } else if (!w.next_words.empty()) {
        s += fmt::format("; next it {}", w.next_words);
    }
    return s + fmt::format("; done {}.", span(w.end_p50_s, w.end_p90_s));
}

}  // namespace

void sentence(Track& t) {
    Where& w = t.w;
    switch (w.standing) {
        case Standing::ended:
            if (w.end_in_doubt) {
                w.sentence = "Stop: it is marked as ended, and it cannot have done its work; look at what it shows.";
                return;
            }
            w.sentence = "It said that it is done";
            w.sentence += w.settle_left_s > 0 ? fmt::format("; leave everything as it is for another {}.",
                                                            human_duration(w.settle_left_s))
                                              : ", and the settling time has passed: safe to remove.";
            return;
        case Standing::astray:
            w.sentence = fmt::format("Astray: {}. Look at the unit and mark what it shows.", t.marks.why);
            return;
        case Standing::running:
            w.sentence =
                w.stands ? fmt::format(
                               "It stands where it {}: nobody answered, and then it stops; go on with "
                               "mend.",
                               t.script()[*t.marks.stopped].words)
                : t.end_not_said()
                    ? "It is back from its last restart, so it should be done. Leave everything as it is; mark "
                      "ended when it says so."
                    : running_words(t);
            return;
    }
}

// Past beginnings that were marked are exact; between two marks the forecast's proportions hold; what is ahead is as
// expected now.
void timeline(Track& t) {
    Where& w = t.w;
    const auto& script = t.script();
    const std::size_t n = script.size();
    w.begins_s.assign(n + 1, 0);
    w.begin_marked.assign(n + 1, false);
    const std::vector<double>& typical = t.basis.typical_s;
    const auto& chain = t.model->chain();
    std::vector<Anchor> fixed{{0, 0, ""}};
    for (const Anchor& a : t.marks.anchors) {
        w.begin_marked[a.act] = true;
        if (a.act > fixed.back().act && a.at_s >= fixed.back().at_s) fixed.push_back(a);
    }
    for (std::size_t j = 0; j + 1 < fixed.size(); ++j) {
        const double span_s = typical[fixed[j + 1].act] - typical[fixed[j].act];
        for (std::size_t i = fixed[j].act; i <= fixed[j + 1].act; ++i) {
            const double share = span_s > 0 ? (typical[i] - typical[fixed[j].act]) / span_s : 0;
            w.begins_s[i] = fixed[j].at_s + share * (fixed[j + 1].at_s - fixed[j].at_s);
        }
        w.begins_s[fixed[j + 1].act] = fixed[j + 1].at_s;
    }
    const std::size_t here = w.standing == Standing::running ? chain[t.k].act : n;
    for (std::size_t i = fixed.back().act; i <= n; ++i)
        w.begins_s[i] = fixed.back().at_s + typical[i] - typical[fixed.back().act];
    if (w.standing == Standing::running && !w.stands && here >= fixed.back().act) {
        // From the last mark to the act it is in now, the time that has passed; the rest from now on.
        const double passed_s = std::max(0.0, w.elapsed_s - fixed.back().at_s);
        const double usual_s = typical[here] - typical[fixed.back().act];
        if (usual_s > passed_s) {
            for (std::size_t i = fixed.back().act; i <= here; ++i)
                w.begins_s[i] = fixed.back().at_s + (typical[i] - typical[fixed.back().act]) / usual_s * passed_s;
        }
        for (std::size_t i = here + 1; i <= n; ++i)
            w.begins_s[i] =
                w.elapsed_s + quantile(t.future->begins(i == n ? chain.size() - 1 : t.model->chain_from(i)), 0.5);
    }
    for (std::size_t i = 1; i <= n; ++i) w.begins_s[i] = std::max(w.begins_s[i], w.begins_s[i - 1]);
}

}  // namespace fettle::watch
