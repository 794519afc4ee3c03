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

Follower::Follower(const Step& step, const Model& model) : step_(step), model_(model), now_(model.start()) {
    int written = 0;
    for (std::size_t k = 0; k < model_.chain().size(); ++k) {
        before_.push_back(written);
        int n = 0;
        if (!step.family.script.empty() && act(k).kind == ActKind::write)
            n = static_cast<int>(forecast::lines_of(step.family, step.sheet, act(k)).size());
        pieces_.push_back(n);
        written += n;
    }
    anchor_now();
    awaited_ = model_.chain().size() - 1;
    anchored_ = false;
}

void Follower::begin(const std::vector<Sign>& signs) {
    for (const Sign& s : signs) take(s);
    now_.normalise();
}

void Follower::second(const std::vector<Sign>& signs, std::optional<double> amps, double amps_weight) {
    elapsed_ += 1;
    now_.advance();
    for (std::size_t k = 0; k < model_.chain().size(); ++k) {
        if (model_.chain()[k].end) continue;
        const double stuck = model_.stuck_a_second(k);
        each_level(k, [&](std::size_t s) {
            for (std::size_t how = 0; how < kWaysStuck; ++how)
                now_.leak(s, model_.stuck(k, how), stuck * model_.stuck_share(how));
            now_.leak(s, model_.astray(), model_.astray_a_second());
        });
    }
    missed_signs();
    for (const Sign& s : signs) take(s);
    if (amps) {
        take_amps(*amps, amps_weight);
        take_flatness(*amps);
        if (const auto step = steps_.take(elapsed_, *amps)) take_step(*step);
    }
    now_.normalise();
}

double Follower::in(std::size_t k) const {
    double p = 0;
    for (std::size_t level = 0; level < model_.levels(); ++level) p += now_.chance(model_.state(k, level));
    return p;
}

double Follower::stuck_in(std::size_t k) const {
    double p = 0;
    for (std::size_t how = 0; how < kWaysStuck; ++how) p += now_.chance(model_.stuck(k, how));
    return p;
}

double Follower::stuck_as(std::size_t how) const {
    double p = 0;
    for (std::size_t k = 0; k < model_.chain().size(); ++k) p += now_.chance(model_.stuck(k, how));
    return p;
}

double Follower::stuck() const {
    double p = 0;
    for (std::size_t k = 0; k < model_.chain().size(); ++k) p += stuck_in(k);
    return p;
}

double Follower::good() const {
    double p = 0;
    for (std::size_t k = 0; k < model_.chain().size(); ++k) p += in(k);
    return p;
}

std::vector<Place> Follower::places() const {
    std::vector<Place> out;
    for (std::size_t level = 0; level < model_.levels(); ++level) {
        for (std::size_t k = 0; k < model_.chain().size(); ++k) {
            now_.by_age(model_.state(k, level), [&](std::size_t age, double p) {
                if (p > 1e-9) out.push_back({k, level, static_cast<double>(age), p});
            });
        }
    }
    return out;
}

bool Follower::visible(std::size_t k) const {
    const auto& c = model_.chain();
    if (k == 0) return false;
    if (c[k].end || c[k].dark != c[k - 1].dark) return true;
    return act(k).kind == ActKind::ask || act(k - 1).kind == ActKind::ask;
}

std::size_t Follower::group(std::size_t k) const {
    while (k > 0 && !visible(k)) --k;
    return k;
}

bool Follower::begins(const std::string& event, std::size_t k) const {
    const auto& c = model_.chain();
    if (event == "ended") return c[k].end;
    for (std::size_t i = 0; i < step_.family.script.size(); ++i) {
        if (step_.family.script[i].id == event && event != "asks" && event != "dark") return model_.chain_from(i) == k;
    }
    if (event == "dark") return c[k].dark && (k == 0 || !c[k - 1].dark);
    if (event == "asks") return act(k).kind == ActKind::ask;
    if (event == "restarted") return act(k).kind == ActKind::restart;
    if (k == 0) return false;
    if (event == "back") return !c[k].dark && c[k - 1].dark;
    if (event == "answered" || event == "skipped") return act(k - 1).kind == ActKind::ask;
    if (event == "fed") return !act(k - 1).wake.empty();
    return false;
}

// Whoever marks would have marked the next sign by now: what has passed it is so much less likely. Only the first one;
// whoever missed that is away.
void Follower::missed_signs() {
    static const std::vector<double> person = not_marked_yet(kRates.tap_hit),
                                     machine = not_marked_yet(kRates.machine_hit);
    if (hit_ <= 0 || awaited_ >= model_.chain().size() || group(awaited_) != awaited_) return;
    const std::vector<double>& by_age = hit_ == kRates.machine_hit ? machine : person;
    each_level(awaited_, [&](std::size_t s) { now_.weigh_by_age(s, by_age); });
}

void Follower::anchor_now() {
    anchor_ = places();
    double all = 0;
    for (const Place& p : anchor_) all += p.p;
    std::vector<double> at(model_.chain().size(), 0.0);
    for (Place& p : anchor_) {
        p.p /= all > 0 ? all : 1;
        at[p.k] += p.p;
    }
    const auto likeliest = static_cast<std::size_t>(std::max_element(at.begin(), at.end()) - at.begin());
    // What is awaited is counted from there; what says otherwise is left out.
    std::erase_if(anchor_, [&](const Place& p) { return group(p.k) != group(likeliest); });
    all = 0;
    for (const Place& p : anchor_) all += p.p;
    for (Place& p : anchor_) p.p /= all > 0 ? all : 1;
    awaited_ = likeliest + 1;
    while (awaited_ + 1 < model_.chain().size() && !visible(awaited_)) ++awaited_;
    awaited_ = std::min(awaited_, model_.chain().size() - 1);
    anchor_s_ = elapsed_;
    anchored_ = true;
    silence_seen_ = false;
}

}  // namespace fettle::watch
