// How likely is what was seen, in each state? A mark of an act's beginning is likely just after that act has begun, and
// ever less so with its age; in every other state it is a slip of the finger, which comes once in a hundred runs. These
// two figures are all that a mark needs, and they are why one wrong tap does not carry the run away while a right one
// does.
//
// Kinds of evidence are weighed one after another, as if they did not know of each other. Where they do (silence and
// current), take_amps() counts readings within ten seconds as one, and worry.cc shows the range.
#include <algorithm>
#include <cmath>

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
    const Event& event = s.event;
    if (event.kind == Event::Kind::still) return take_still();
    const bool same = event == last_event_ && s.at_s - last_event_s_ <= 30;
    const std::size_t n = model_->chain().size();
    bool known = false;
    for (std::size_t k = 0; k < n; ++k) known = known || begins(event, k);
    if (!known || same) return;
    last_event_ = event;
    last_event_s_ = s.at_s;
    const double hit = s.machine ? kRates.machine_hit : kRates.tap_hit;
    const bool asks = event.kind == Event::Kind::asks, named = event.act && !asks;
    const double astray_before = astray(), good_before = good();
    for (std::size_t k = 0; k < n; ++k) {
        const bool here = begins(event, k);
        const std::size_t g = group(k);
        bool passed = false;  // it began in this stretch, but an act that cannot be told from it has followed
        for (std::size_t j = g; j < k; ++j) passed = passed || begins(event, j);
        each_level(k, [&](std::size_t state) {
            if (here && model_->chain()[k].end) {
                now_.weigh(state, 0.1);
            } else if (here) {
                const bool counted = hit_ > 0 && k == awaited_;
                // What asks or sleeps goes on doing so until somebody comes and sees it.
                const double standing = model_->chain()[k].waits ? 2e-3 : 0;
                now_.weigh_by_age(state, [&](std::size_t age) {
                    const double d = static_cast<double>(age);
                    return hit * (delay(d) + standing) / (counted ? 1 - hit_ * delayed_until(d + 1) : 1) +
                           kRates.tap_false;
                });
            } else {
                now_.weigh(state, passed ? hit * kVeryLate : kRates.tap_false);
            }
        });
        weigh_stuck(k, kRates.tap_false);
    }
    now_.weigh(model_->astray(), kRates.astray_mark);
    // Who says which act it is, or that it asks, is believed also when no run should be as far by now.
    for (std::size_t k = 0; (named || asks) && k < n; ++k) {
        double behind = 0;
        for (std::size_t j = 0; j < k; ++j) behind += in(j);
        if (!begins(event, k) || (behind <= 0 && in(k) <= 0)) continue;
        for (std::size_t level = 0; level < model_->levels(); ++level)
            now_.put(model_->state(k, level), good_before * kSkips * hit * delay(0) * model_->weight(level));
        if (asks) break;
    }
    if (named && astray_before >= 0.5) {
        for (std::size_t k = 0; k < n; ++k) {
            if (begins(event, k)) take_named(k);
        }
    }
    now_.normalise();
    hit_ = hit;
    anchor_now(&event);
}

// Somebody who says which act it is, is believed also when the run had left the script.
void Follower::take_named(std::size_t k) {
    const double back = now_.chance(model_->astray()) * kRates.after_astray / kRates.astray_mark * delay(0);
    for (std::size_t level = 0; level < model_->levels(); ++level)
        now_.put(model_->state(k, level), back * model_->weight(level));
}

void Follower::take_text(const Sign& s) {
    std::vector<bool> shows(model_->chain().size(), false);
    int acts = 0;
    for (std::size_t i = 0; i < model_->script().size(); ++i) {
        if (model_->script()[i].shows.empty() || model_->script()[i].shows != s.text) continue;
        ++acts;
        shows[model_->chain_from(i)] = true;
    }
    if (acts == 0) return;
    for (std::size_t k = 0; k < shows.size(); ++k) {
        const double p = shows[k] ? kAlike : kUnlike;
        each_level(k, [&](std::size_t state) { now_.weigh(state, p); });
        weigh_stuck(k, p);
    }
    now_.weigh(model_->astray(), 0.01);
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
    for (std::size_t k = 0; k < model_->chain().size(); ++k) {
        const ChainAct& a = model_->chain()[k];
        const int past = std::max(0, landed - a.pieces_before - a.pieces);
        const int missing = std::max(0, a.pieces_before - landed);
        const double p = std::max(0.01, std::exp(-1.5 * (past + missing)));
        each_level(k, [&](std::size_t state) {
            if (a.pieces == 0 || past + missing > 0) {
                now_.weigh(state, p);
                return;
            }
            // Within the act: as far as the pieces say, so far in time.
            const double share = (landed - a.pieces_before + 0.5) / (a.pieces + 1.0);
            const std::size_t level = state / model_->chain().size();
            const double lasts = model_->median_s(k, level);
            const double sigma = 0.15 + 0.3 / std::sqrt(static_cast<double>(a.pieces));
            now_.weigh_by_age(state, [&](std::size_t age) {
                const double off = ((static_cast<double>(age) + 1) / lasts - share) / (sigma * std::max(0.3, share));
                return std::max(0.05, std::exp(-off * off / 2));
            });
        });
        weigh_stuck(k, p);
    }
    now_.weigh(model_->astray(), 0.05);  // off the script any count is as likely as another
    now_.normalise();
}

void Follower::take_link(bool answered) {
    const double weight = std::clamp((elapsed_ - last_link_s_) / kLinkEvery_s, 0.05, 1.0);
    last_link_s_ = elapsed_;
    const auto weigh = [&](double p_answer) { return std::pow(answered ? p_answer : 1 - p_answer, weight); };
    for (std::size_t k = 0; k < model_->chain().size(); ++k) {
        const bool asleep = !act(k).wake.empty() || model_->chain()[k].dark;
        // Where nobody may listen, an answer or its absence says nothing.
        const double p = weigh(asleep ? 0.05 : act(k).polling_safe ? 0.9 : 0.5);
        each_level(k, [&](std::size_t state) { now_.weigh(state, p); });
        weigh_stuck(k, weigh(0.1));
    }
    now_.weigh(model_->astray(), weigh(0.5));
    if (!answered) silence_seen_ = true;
}

// Somebody looked, and what the last sign said still stands.
void Follower::take_still() {
    double best = -1;
    std::size_t g = 0;
    for (const Place& p : *anchor_) {
        if (p.p > best) best = p.p, g = group(p.k);
    }
    for (std::size_t k = 0; k < model_->chain().size(); ++k) {
        const double p = group(k) == g ? 0.95 : 0.03;
        each_level(k, [&](std::size_t state) { now_.weigh(state, p); });
        weigh_stuck(k, p);
    }
    now_.weigh(model_->astray(), 0.3);
    silence_seen_ = true;
}

}  // namespace fettle::watch
