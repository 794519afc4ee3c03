// What each kind of evidence says of each state.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "fettle/watch/follower.h"

namespace fettle::watch {
namespace {

// How long after a sign its mark comes, a second: mostly at once, now and then late, and in the end it may be tapped at
// any time (guess).
double delay(double s) {
    return 0.85 * std::exp(-(s + 0.5) / 4) / 4 + 0.15 * std::exp(-(s + 0.5) / 45) / 45 + 5e-4;
}
constexpr double kVeryLate = 0.0015;  // a second: in an act after the one whose beginning it tells of
constexpr double kSkips = 1e-3;       // of named acts: the acts before it were passed over
constexpr double kAlike = 0.9, kUnlike = 0.004;
constexpr std::size_t kWindow = 30;
constexpr double kLinkEvery_s = 10;  // looks nearer together than that are not independent

}  // namespace

void Follower::take(const Sign& s) {
    switch (s.kind) {
        case Sign::Kind::mark: take_mark(s); return;
        case Sign::Kind::text: take_text(s); return;
        case Sign::Kind::tally: take_tally(s.counts); return;
        case Sign::Kind::link: take_link(s.answered); return;
    }
}

void Follower::take_mark(const Sign& s) {
    if (s.what == "still") return take_still();
    const bool same = s.what == last_event_ && s.at_s - last_event_s_ <= 30;
    const std::size_t n = model_.chain().size();
    bool known = false;
    for (std::size_t k = 0; k < n; ++k) known = known || begins(s.what, k);
    if (!known || same) return;
    last_event_ = s.what;
    last_event_s_ = s.at_s;
    const double hit = s.machine ? kRates.machine_hit : kRates.tap_hit;
    bool named = false;
    const double astray_before = astray(), good_before = good();
    for (const family::Act& a : step_.family.script) named = named || (a.id == s.what && s.what != "asks");
    for (std::size_t k = 0; k < n; ++k) {
        const bool here = begins(s.what, k);
        const std::size_t g = group(k);
        bool passed = false;  // it began in this stretch, but an act that cannot be told from it has followed
        for (std::size_t j = g; j < k; ++j) passed = passed || begins(s.what, j);
        each_level(k, [&](std::size_t state) {
            if (here && model_.chain()[k].end) {
                now_.weigh(state, 0.1);
            } else if (here) {
                const bool counted = hit_ > 0 && k == awaited_;
                // What asks or sleeps goes on doing so until somebody comes and sees it.
                const double standing = model_.chain()[k].waits ? 2e-3 : 0;
                now_.weigh_by_age(state, [&](std::size_t age) {
                    const double d = static_cast<double>(age);
                    return hit * (delay(d) + standing) / (counted ? 1 - hit_ * delayed_until(d + 1) : 1) +
                           kRates.tap_false;
                });
            } else {
                now_.weigh(state, passed ? hit * kVeryLate : kRates.tap_false);
            }
        });
        now_.weigh(model_.stuck(k), kRates.tap_false);
    }
    now_.weigh(model_.astray(), kRates.astray_mark);
    // Who says which act it is, or that it asks, is believed also when no run should be as far by now.
    for (std::size_t k = 0; (named || s.what == "asks") && k < n; ++k) {
        double behind = 0;
        for (std::size_t j = 0; j < k; ++j) behind += in(j);
        if (!begins(s.what, k) || (behind <= 0 && in(k) <= 0)) continue;
        for (std::size_t level = 0; level < model_.levels(); ++level)
            now_.put(model_.state(k, level), good_before * kSkips * hit * delay(0) * model_.weight(level));
        if (s.what == "asks") break;
    }
    if (named && astray_before >= 0.5) {
        for (std::size_t k = 0; k < n; ++k) {
            if (begins(s.what, k)) take_named(s, k);
        }
    }
    now_.normalise();
    hit_ = hit;
    anchor_now();
    // Silence is counted from the mark, however late that came.
    for (Place& p : anchor_) {
        if (begins(s.what, p.k)) p.age_s = 0;
    }
}

// Somebody who says which act it is, is believed also when the run had left the script.
void Follower::take_named(const Sign&, std::size_t k) {
    const double back = now_.chance(model_.astray()) * kRates.after_astray / kRates.astray_mark * delay(0);
    for (std::size_t level = 0; level < model_.levels(); ++level)
        now_.put(model_.state(k, level), back * model_.weight(level));
}

void Follower::take_text(const Sign& s) {
    std::vector<bool> shows(model_.chain().size(), false);
    int acts = 0;
    for (std::size_t i = 0; i < step_.family.script.size(); ++i) {
        if (step_.family.script[i].shows.empty() || step_.family.script[i].shows != s.what) continue;
        ++acts;
        shows[model_.chain_from(i)] = true;
    }
    if (acts == 0) return;
    for (std::size_t k = 0; k < shows.size(); ++k) {
        const double p = shows[k] ? kAlike : kUnlike;
        each_level(k, [&](std::size_t state) { now_.weigh(state, p); });
        now_.weigh(model_.stuck(k), p);
    }
    now_.weigh(model_.astray(), 0.01);
    now_.normalise();
    if (acts == 1 || hit_ <= 0) {
        if (acts == 1) hit_ = s.machine ? kRates.machine_hit : kRates.tap_hit;
        anchor_now();
    }
}

// Landed pieces tell how far the writing is.
void Follower::take_tally(const TallyReading& r) {
    if (!r.landed) return;
    const int landed = *r.landed;
    for (std::size_t k = 0; k < model_.chain().size(); ++k) {
        const int past = landed > before_[k] + pieces_[k] ? landed - before_[k] - pieces_[k] : 0;
        const int missing = landed < before_[k] ? before_[k] - landed : 0;
        const double p = std::max(0.01, std::exp(-1.5 * (past + missing)));
        each_level(k, [&](std::size_t state) {
            if (pieces_[k] == 0 || past + missing > 0) {
                now_.weigh(state, p);
                return;
            }
            // Within the act: as far as the pieces say, so far in time.
            const double share = (landed - before_[k] + 0.5) / (pieces_[k] + 1.0);
            const std::size_t level = state / model_.chain().size();
            const double lasts = model_.chain()[k].median_s * model_.slower(k, level);
            const double sigma = 0.15 + 0.3 / std::sqrt(static_cast<double>(pieces_[k]));
            now_.weigh_by_age(state, [&](std::size_t age) {
                const double off = ((static_cast<double>(age) + 1) / lasts - share) / (sigma * std::max(0.3, share));
                return std::max(0.05, std::exp(-off * off / 2));
            });
        });
        now_.weigh(model_.stuck(k), p);
    }
}

void Follower::take_link(bool answered) {
    const double weight = std::clamp((elapsed_ - last_link_s_) / kLinkEvery_s, 0.05, 1.0);
    last_link_s_ = elapsed_;
    const auto weigh = [&](double p_answer) { return std::pow(answered ? p_answer : 1 - p_answer, weight); };
    for (std::size_t k = 0; k < model_.chain().size(); ++k) {
        const bool asleep = !act(k).wake.empty() || model_.chain()[k].dark;
        // Where nobody may listen, an answer or its absence says nothing.
        const double p = weigh(asleep ? 0.05 : act(k).polling_safe ? 0.9 : 0.5);
        each_level(k, [&](std::size_t state) { now_.weigh(state, p); });
        now_.weigh(model_.stuck(k), weigh(0.1));
    }
    now_.weigh(model_.astray(), weigh(0.5));
    if (!answered) silence_seen_ = true;
}

// Somebody looked, and what the last sign said still stands.
void Follower::take_still() {
    double best = -1;
    std::size_t g = 0;
    for (const Place& p : anchor_) {
        if (p.p > best) best = p.p, g = group(p.k);
    }
    for (std::size_t k = 0; k < model_.chain().size(); ++k) {
        const double p = group(k) == g ? 0.95 : 0.03;
        each_level(k, [&](std::size_t state) { now_.weigh(state, p); });
        now_.weigh(model_.stuck(k), p);
    }
    now_.weigh(model_.astray(), 0.3);
    silence_seen_ = true;
}

void Follower::take_amps(double amps, double weight) {
    const double range = std::max(2 * model_.top_A(), amps);
    const auto normal = [&](double mean, double sd) {
        const double z = (amps - mean) / sd;
        return std::exp(-z * z / 2) / (sd * std::sqrt(2 * std::numbers::pi));
    };
    const auto of = [&](std::size_t k) {
        const ChainAct& a = model_.chain()[k];
        if (act(k).wake.empty() == false && a.mean_A <= 0) return 0.9 * normal(0.05, 0.08) + 0.1 / range;
        return a.mean_A > 0 ? 0.97 * normal(a.mean_A, a.sd_A) + 0.03 / range : 1 / range;
    };
    const double low = model_.low_A() > 0 ? normal(0.6 * model_.low_A(), 0.25 * model_.low_A()) : 1 / range;
    for (std::size_t k = 0; k < model_.chain().size(); ++k) {
        const double here = of(k);
        each_level(k, [&](std::size_t state) { now_.weigh(state, std::pow(here, weight)); });
        now_.weigh(model_.stuck(k), std::pow(0.6 * low + 0.35 * here + 0.05 / range, weight));
    }
    now_.weigh(model_.astray(), std::pow(1 / range, weight));
}

// A box that works draws now more, now less; one that hangs draws evenly, at whatever level. Judged by windows of
// thirty readings against what is usual in this run (shares: guesses).
void Follower::take_flatness(double amps) {
    window_.push_back(amps);
    if (window_.size() < kWindow) return;
    double squares = 0;
    for (std::size_t i = 1; i < window_.size(); ++i) {
        const double step = window_[i] - window_[i - 1];  // steps: a change of level in the window counts little
        squares += step * step;
    }
    window_.clear();
    // The very same figure thirty times tells of the meter's steps, or of an old value, not of the box.
    if (squares == 0) return;
    const double sd = std::sqrt(squares / (2.0 * (kWindow - 1)));
    if (usual_sd_ <= 0) {
        usual_sd_ = sd;
        return;
    }
    const bool flat = sd < 0.4 * usual_sd_;
    if (!flat) usual_sd_ = 0.7 * usual_sd_ + 0.3 * sd;
    const auto p = [&](double share) { return flat ? share : 1 - share; };
    for (std::size_t k = 0; k < model_.chain().size(); ++k) {
        const ChainAct& a = model_.chain()[k];
        const double good = a.end || a.waits ? 0.3 : a.dark ? 0.1 : 0.03;
        each_level(k, [&](std::size_t state) { now_.weigh(state, p(good)); });
        now_.weigh(model_.stuck(k), p(0.6));
    }
    now_.weigh(model_.astray(), p(0.2));
}

}  // namespace fettle::watch
