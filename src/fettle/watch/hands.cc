// When a person is needed at the box, and what sleeps until it is fed.
#include <fmt/format.h>

#include <algorithm>

#include "fettle/watch/track.h"

namespace fettle::watch {
namespace {

using family::ActKind;

constexpr double kWorthSaying = 0.15;  // an ask that is less likely still to come or to stand is left out
constexpr double kBegun = 0.8;         // without a mark: from so many on it counts as asked

bool of_wake(const Track& t, std::size_t k) {
    return t.basis.on_bench && !t.act(k).wake.empty();
}

}  // namespace

void waking(Track& t) {
    const auto lately = t.amps.lately(20);
    for (std::size_t k = 0; k < t.model->chain().size(); ++k) {
        if (!of_wake(t, k)) continue;
        const bool asleep = lately && lately->mean <= kAsleep_A;
        const double here = t.follower->in(k);
        // Current that says asleep wins over stuck; without it the odds decide, once it has been dark for a while.
        const double since_s = t.w.elapsed_s - t.follower->anchor_s();
        const bool long_dark = t.follower->anchored() && since_s > 3 * t.model->chain()[k].median_s;
        if (!(asleep && here + t.follower->stuck_in(k) >= kLikely) && !(here >= 0.5 && long_dark)) continue;
        t.k = k;
        t.w.act = t.act(k).id;
        t.w.to_be_woken = true;
        t.say_while_open("waiting-to-be-woken", Verdict::mind,
                         fmt::format("likely waiting to be woken: feed {} now; it is not stuck", t.act(k).wake),
                         asleep ? fmt::format("supply current {:.2f} A", lately->mean) : "marks and family file");
        return;
    }
}

void hands(Track& t) {
    const Follower& f = *t.follower;
    const auto& chain = t.model->chain();
    for (std::size_t k = 0; k < chain.size(); ++k) {
        const family::Act& a = t.act(k);
        const bool ask = a.kind == ActKind::ask;
        if (!ask && !of_wake(t, k)) continue;
        const double here = f.in(k);
        double ahead = 0;
        for (std::size_t j = 0; j < k; ++j) ahead += f.in(j);
        const bool marked = t.w.by_mark && t.k == k;
        const bool woken = t.w.to_be_woken && t.k == k;
        if (!marked && !woken && here + ahead < kWorthSaying) continue;
        HandsWindow h{a.id, a.words, ask ? a.control : a.wake, a.shows, 0, 0, false, !ask, false, 0, {}};
        std::vector<double> begins;
        const auto& now = t.future->now();
        const std::span<const double> all = t.future->begins(k);
        for (std::size_t i = 0; i < all.size(); ++i) {
            if (now[i].k <= k) begins.push_back(all[i]);
        }
        h.from_s = quantile(begins, 0.1);
        h.to_s = quantile(begins, 0.9);
        const bool overdue_sign = t.overdue && k == f.awaited();
        const bool begun = here >= kBegun * (here + ahead) && here > 0;
        h.now = woken || (ask && (marked || begun)) || (!ask && marked) || overdue_sign;
        if (h.now) h.from_s = h.to_s = 0;
        h.p_within = h.now ? 1 : here + t.future->begins_within(k, t.rule.lead_s) * f.good();
        h.call = h.now || h.p_within >= t.rule.certainty;
        h.draws_s = std::move(begins);
        t.w.hands.push_back(std::move(h));
    }
    for (const HandsWindow& h : t.w.hands) {
        if (h.now)
            t.say_while_open("hands-now", Verdict::mind,
                             h.wake ? fmt::format("feed now: {}", h.control)
                                    : fmt::format("hands are needed now: it {}{}", h.words,
                                                  h.control.empty() ? "" : " (" + h.control + ")"),
                             f.anchored() ? "marks" : "elapsed time alone");
        else if (h.call)
            t.say_while_open("hands-soon", Verdict::mind,
                             fmt::format("go to the box: in {:.0f} of 100 runs like this one it {} within {}",
                                         h.p_within * 100, h.words, human_duration(t.rule.lead_s)),
                             "odds of the run");
    }
}

}  // namespace fettle::watch
