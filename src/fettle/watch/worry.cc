// Slow or stuck, in odds: prior odds × (how often stuck runs look like this / how often good ones do), one factor for
// each thing that was seen.
//
// Two factors may only be multiplied when the one says nothing of the other. Silence and a low current do not keep to
// that: a good run that writes something long is silent and draws little. With the joint figure of the family file the
// answer is exact. Without it the truth lies between "the current adds nothing to the silence" and "they are
// independent", and so the answer is a range.
#include "fettle/watch/worry.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/text.h"
#include "fettle/watch/model.h"

namespace fettle::watch {
namespace {

// Guesses, where the family file is silent.
constexpr double kLowWhenStuck = 0.7, kLowWhenGood = 0.05;

std::string share(double p) {
    if (p < 0.001) return "fewer than 1 in 1000";
    if (p < 0.0095) return fmt::format("{:.0f} in 1000", p * 1000);
    return fmt::format("{:.0f} in 100", p * 100);
}

}  // namespace

double stuck_after(double prior, double good, double stuck) {
    if (!(prior > 0)) return 0;
    if (prior >= 1) return 1;
    const double odds = prior / (1 - prior) * stuck / std::max(good, 1e-9);
    return odds / (1 + odds);
}

double Worry::low() const {
    return std::min(dependent, independent);
}

double Worry::high() const {
    return std::max(dependent, independent);
}

Worry worry_of(const std::optional<family::Stuck>& figures, const std::optional<WorryPart>& silent,
               std::optional<bool> low_now) {
    Worry w;
    w.prior = figures ? figures->prior : kRates.stuck;
    w.prior_rests_on = figures ? figures->source : "guess";
    double good = 1, stuck = 1;
    if (silent) {
        w.parts.push_back(*silent);
        good *= silent->good;
        stuck *= silent->stuck;
    }
    w.dependent = stuck_after(w.prior, good, stuck);
    w.independent = w.dependent;
    if (!low_now) return w;
    WorryPart low;
    const bool known = figures && figures->low_when_stuck && figures->low_when_good;
    low.stuck = known ? *figures->low_when_stuck : kLowWhenStuck;
    low.good = known ? *figures->low_when_good : kLowWhenGood;
    low.rests_on = known ? figures->source : "guess";
    low.words = *low_now ? "current flat and low" : "current as it should be";
    std::optional<double> together;
    if (figures && figures->low_when_good_and_silent) together = *figures->low_when_good_and_silent;
    if (!*low_now) {
        low.stuck = 1 - low.stuck;
        low.good = 1 - low.good;
        if (together) *together = 1 - *together;
    }
    w.independent = stuck_after(w.prior, good * low.good, stuck * low.stuck);
    if (!silent) w.dependent = w.independent;
    if (together && silent) w.joint = stuck_after(w.prior, good * *together, stuck * low.stuck);
    w.parts.push_back(std::move(low));
    return w;
}

std::string chance_words(double p) {
    if (p < 0.01) return "fewer than 1 in 100";
    if (p > 0.99) return "more than 99 in 100";
    return fmt::format("{:.0f} in 100", p * 100);
}

std::string worry_words(const Worry& w) {
    std::vector<std::string> parts{
        fmt::format("{} stuck to begin with ({})", share(w.prior), w.prior_rests_on.words())};
    for (const WorryPart& p : w.parts)
        parts.push_back(fmt::format("{}: {} good, {} stuck runs ({})", p.words, share(p.good),
                                    p.stuck >= 0.9995 ? "all" : share(p.stuck), p.rests_on.words()));
    std::string range = chance_words(w.low());
    if (w.high() - w.low() >= 0.005) {
        range = fmt::format("between {:.0f} and {:.0f} in 100", w.low() * 100, w.high() * 100);
        if (w.joint) range += fmt::format(", by the joint figure {:.0f}", *w.joint * 100);
    }
    return fmt::format("stuck: {} ({})", range, join(parts, "; "));
}

}  // namespace fettle::watch
