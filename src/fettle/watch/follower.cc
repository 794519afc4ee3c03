// Bayes' rule, one second at a time. What is believed of the second before is moved on by the clock (an act may have
// ended, the box may have got stuck, the run may have left the script), then weighed with what was seen in this second:
// how likely is that mark, that text, that current, if the box is in this state? States that explain it gain, the
// others lose.
//
// What is not seen counts only in one case. Somebody who taps the signs of a run would have tapped the next one too;
// each second without it makes it less likely that it has come. From people who look now and then nothing follows, and
// so after one sign that was missed they are taken to be away.
#include "fettle/watch/follower.h"

#include <algorithm>
#include <cmath>

namespace fettle::watch {
namespace {

using family::ActKind;

// By the seconds since a sign: how much less likely each second without its mark makes it that it has come.
std::vector<double> not_marked_yet(double hit) {
    std::vector<double> out;
    for (int d = 0; d < 600; ++d) out.push_back((1 - hit * delayed_until(d + 1)) / (1 - hit * delayed_until(d)));
    return out;
}

}  // namespace

double delayed_until(double s) {
    return 1 - 0.85 * std::exp(-s / 4) - 0.15 * std::exp(-s / 45);
}

Follower::Follower(const Model& model) : model_(&model), now_(model.start()) {
    anchor_now();
    awaited_ = model_->chain().size() - 1;
    anchored_ = false;
}

void Follower::within(std::span<const Sign> signs) {
    for (const Sign& s : signs) take(s);
    now_.normalise();
}

void Follower::second(std::span<const Sign> signs, const std::optional<Amps>& amps) {
    elapsed_ += 1;
    now_.advance();
    for (std::size_t k = 0; k < model_->chain().size(); ++k) {
        if (model_->chain()[k].end) continue;
        const double stuck = model_->stuck_a_second(k);
        each_level(k, [&](std::size_t s) {
            for (std::size_t how = 0; how < kWaysStuck; ++how)
                now_.leak(s, model_->stuck(k, how), stuck * model_->stuck_share(how));
            now_.leak(s, model_->astray(), model_->astray_a_second());
        });
    }
    missed_signs();
    for (const Sign& s : signs) take(s);
    if (amps) {
        take_amps(amps->mean, amps->weight);
        take_flatness(amps->mean);
        if (amps->step) take_step(*amps->step);
    }
    now_.normalise();
}

double Follower::in(std::size_t k) const {
    double p = 0;
    for (std::size_t level = 0; level < model_->levels(); ++level) p += now_.chance(model_->state(k, level));
    return p;
}

double Follower::stuck_in(std::size_t k) const {
    double p = 0;
    for (std::size_t how = 0; how < kWaysStuck; ++how) p += now_.chance(model_->stuck(k, how));
    return p;
}

double Follower::stuck_as(std::size_t how) const {
    double p = 0;
    for (std::size_t k = 0; k < model_->chain().size(); ++k) p += now_.chance(model_->stuck(k, how));
    return p;
}

double Follower::stuck() const {
    double p = 0;
    for (std::size_t k = 0; k < model_->chain().size(); ++k) p += stuck_in(k);
    return p;
}

double Follower::good() const {
    double p = 0;
    for (std::size_t k = 0; k < model_->chain().size(); ++k) p += in(k);
    return p;
}

std::vector<Place> Follower::places() const {
    std::vector<Place> out;
    for (std::size_t level = 0; level < model_->levels(); ++level) {
        for (std::size_t k = 0; k < model_->chain().size(); ++k) {
            now_.by_age(model_->state(k, level), [&](std::size_t age, double p) {
                if (p > 1e-9) out.push_back({k, level, static_cast<double>(age), p});
            });
        }
    }
    return out;
}

bool Follower::visible(std::size_t k) const {
    const auto& c = model_->chain();
    if (k == 0) return false;
    if (c[k].end || c[k].dark != c[k - 1].dark) return true;
    return act(k).kind == ActKind::ask || act(k - 1).kind == ActKind::ask;
}

std::size_t Follower::group(std::size_t k) const {
    while (k > 0 && !visible(k)) --k;
    return k;
}

bool Follower::begins(const Event& event, std::size_t k) const {
    using Kind = Event::Kind;
    const auto& c = model_->chain();
    if (event.kind == Kind::ended) return c[k].end;
    // "asks" and "dark" mean the next such act, also where one is named so.
    if (event.act && event.kind != Kind::asks && event.kind != Kind::dark) return model_->chain_from(*event.act) == k;
    const bool after_one = k > 0;
    switch (event.kind) {
        case Kind::dark: return c[k].dark && !(after_one && c[k - 1].dark);
        case Kind::asks: return act(k).kind == ActKind::ask;
        case Kind::restarted: return act(k).kind == ActKind::restart;
        case Kind::back: return after_one && !c[k].dark && c[k - 1].dark;
        case Kind::answered:
        case Kind::skipped: return after_one && act(k - 1).kind == ActKind::ask;
        case Kind::fed: return after_one && !act(k - 1).wake.empty();
        default: return false;
    }
}

// Whoever marks would have marked the next sign by now: what has passed it is so much less likely. Only the first one;
// whoever missed that is away.
void Follower::missed_signs() {
    static const std::vector<double> person = not_marked_yet(kRates.tap_hit),
                                     machine = not_marked_yet(kRates.machine_hit);
    if (hit_ <= 0 || awaited_ >= model_->chain().size() || group(awaited_) != awaited_) return;
    const std::vector<double>& by_age = hit_ == kRates.machine_hit ? machine : person;
    each_level(awaited_, [&](std::size_t s) { now_.weigh_by_age(s, by_age); });
}

// since: silence is counted from this mark, however late it came.
void Follower::anchor_now(const Event* since) {
    std::vector<Place> at = places();
    double all = 0;
    for (const Place& p : at) all += p.p;
    std::vector<double> in_act(model_->chain().size(), 0.0);
    for (Place& p : at) {
        p.p /= all > 0 ? all : 1;
        in_act[p.k] += p.p;
    }
    const auto likeliest = static_cast<std::size_t>(std::max_element(in_act.begin(), in_act.end()) - in_act.begin());
    // What is awaited is counted from there; what says otherwise is left out.
    std::erase_if(at, [&](const Place& p) { return group(p.k) != group(likeliest); });
    all = 0;
    for (const Place& p : at) all += p.p;
    for (Place& p : at) {
        p.p /= all > 0 ? all : 1;
        if (since && begins(*since, p.k)) p.age_s = 0;
    }
    anchor_ = std::make_shared<const std::vector<Place>>(std::move(at));
    awaited_ = likeliest + 1;
    while (awaited_ + 1 < model_->chain().size() && !visible(awaited_)) ++awaited_;
    awaited_ = std::min(awaited_, model_->chain().size() - 1);
    anchor_s_ = elapsed_;
    anchored_ = true;
    silence_seen_ = false;
}

}  // namespace fettle::watch
