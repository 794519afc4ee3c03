// A plain hidden Markov model forgets how long it has been where it is, so its states last geometrically: most likely
// a single step. An act of an update lasts about its median and hardly ever a tenth of it. So each state keeps its
// chance in parts by age, and what leaves is taken from each age by the law of that age.
//
// That is one product for each age in each step. Three things keep it small: ages that carry less than one part in a
// hundred thousand million are let go; what is older than the law's table is one part, since its chance to leave no
// longer changes; and evidence about a whole state is one product on its scale, not one on each part.
#include "fettle/watch/forward.h"

#include <algorithm>
#include <cmath>

namespace fettle::watch {
namespace {

constexpr double kNothing = 1e-11;  // of the whole: smaller parts are let go
constexpr unsigned kTrimEvery = 16;

double bounded(double likelihood) {
    return likelihood > 1e-30 ? std::min(likelihood, 1e30) : 1e-30;  // NaN becomes the least
}

}  // namespace

Forward::Forward(std::vector<State> states)
    : laws_(std::make_shared<const std::vector<State>>(std::move(states))),
      mass_(laws_->size()),
      enters_(laws_->size()) {}

void Forward::put(std::size_t s, double chance) {
    if (!(chance > 0)) return;
    Mass& m = mass_[s];
    if (m.parts.size() == m.first) {
        m.parts.assign(1, 0.0);
        m.first = 0;
        m.scale = 1;
        m.sum = 0;
    }
    m.parts.back() += chance / m.scale;
    m.sum += chance;
}

void Forward::enter(std::size_t s, double chance) {
    Mass& m = mass_[s];
    if (aged(s) && m.parts.size() > m.first) {
        m.parts.push_back(chance / m.scale);
        m.sum += chance;
    } else {
        put(s, chance);
    }
}

void Forward::advance() {
    std::fill(enters_.begin(), enters_.end(), 0.0);
    for (std::size_t s = 0; s < mass_.size(); ++s) {
        Mass& m = mass_[s];
        const std::vector<double>& h = (*laws_)[s].leaves;
        if (m.parts.size() == m.first || h.empty()) continue;
        const std::size_t n = m.parts.size();
        double left = 0, stays = 0;
        // Index i has age n − 1 − i; ages beyond the table have its last chance.
        const std::size_t beyond = aged(s) && n > h.size() ? std::max(m.first, n - h.size()) : m.first;
        for (std::size_t i = m.first; i < beyond; ++i) {
            const double go = m.parts[i] * h.back();
            m.parts[i] -= go;
            stays += m.parts[i];
            left += go;
        }
        double* parts = m.parts.data();
        const double* newest = h.data() + (n - 1);
        for (std::size_t i = beyond; i < n; ++i) {
            const double go = parts[i] * newest[-static_cast<std::ptrdiff_t>(i)];
            parts[i] -= go;
            stays += parts[i];
            left += go;
        }
        // What is older than the table is one lot: its chance to be left no longer changes.
        while (aged(s) && m.parts.size() - m.first > h.size() + 1) {
            m.parts[m.first + 1] += m.parts[m.first];
            ++m.first;
        }
        enters_[(*laws_)[s].next] += left * m.scale;
        m.sum = stays * m.scale;
    }
    for (std::size_t s = 0; s < mass_.size(); ++s) enter(s, enters_[s]);
}

void Forward::leak(std::size_t from, std::size_t to, double part) {
    Mass& m = mass_[from];
    if (!(m.sum > 0) || !(part > 0)) return;
    put(to, m.sum * part);
    m.scale *= 1 - part;
    m.sum *= 1 - part;
}

void Forward::weigh(std::size_t s, double likelihood) {
    mass_[s].scale *= bounded(likelihood);
    mass_[s].sum *= bounded(likelihood);
}

void Forward::weigh_by_age(std::size_t s, const std::function<double(std::size_t)>& likelihood) {
    Mass& m = mass_[s];
    double sum = 0;
    const std::size_t n = m.parts.size();
    for (std::size_t i = m.first; i < n; ++i) sum += m.parts[i] *= bounded(likelihood(aged(s) ? n - 1 - i : 0));
    m.sum = sum * m.scale;
}

void Forward::weigh_by_age(std::size_t s, const std::vector<double>& likelihood) {
    Mass& m = mass_[s];
    const std::size_t n = m.parts.size();
    if (likelihood.empty() || n == m.first) return;
    if (!aged(s)) return weigh(s, likelihood.front());
    // Index i has age n − 1 − i.
    const std::size_t beyond = n > likelihood.size() ? std::max(m.first, n - likelihood.size()) : m.first;
    double sum = 0;
    for (std::size_t i = m.first; i < beyond; ++i) sum += m.parts[i] *= likelihood.back();
    double* parts = m.parts.data();
    const double* newest = likelihood.data() + (n - 1);
    for (std::size_t i = beyond; i < n; ++i) sum += parts[i] *= newest[-static_cast<std::ptrdiff_t>(i)];
    m.sum = sum * m.scale;
}

double Forward::normalise() {
    double all = 0;
    for (const Mass& m : mass_) all += m.sum;
    if (!(all > 0)) return 0;
    const bool tidy = ++steps_ % kTrimEvery == 0;
    for (Mass& m : mass_) {
        m.scale /= all;
        m.sum /= all;
        if (tidy || m.scale < 1e-60 || m.scale > 1e60) trim(m);
    }
    return all;
}

// Old ages that carry nothing are let go, and states that carry nothing at all are emptied.
void Forward::trim(Mass& m) {
    if (m.sum < kNothing) {
        m = Mass();
        return;
    }
    double gone = 0;
    while (m.first + 1 < m.parts.size() && gone + m.parts[m.first] * m.scale < kNothing)
        gone += m.parts[m.first++] * m.scale;
    m.parts.erase(m.parts.begin(), m.parts.begin() + static_cast<std::ptrdiff_t>(m.first));
    m.first = 0;
    m.sum = 0;
    for (double& part : m.parts) m.sum += part *= m.scale;
    m.scale = 1;
}

}  // namespace fettle::watch
