// Slow or stuck: prior odds times likelihood ratios, with each part and what it rests on. Silence and low current go
// together in good runs too; so unless the family file has their joint figure, the answer is a range: from fully
// dependent (the current adds nothing to the silence) to independent.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::watch {

struct WorryPart {
    std::string words;           // "silent for 4 min"
    double good = 1, stuck = 1;  // share of good and of stuck runs of which this is true
    Basis rests_on;
};

struct Worry {
    double prior = 0;
    Basis prior_rests_on;
    std::vector<WorryPart> parts;
    double dependent = 0, independent = 0;  // that it is stuck, in [0, 1]
    std::optional<double> joint;            // by the family's joint figure

    double low() const;
    double high() const;
    bool any() const { return !parts.empty(); }
};

// Odds form of Bayes' rule: the chance of stuck after evidence that is `good` and `stuck` likely.
double stuck_after(double prior, double good, double stuck);

// silent: share of good runs still silent now, with words for it; nullopt: nothing waited for. low_now: the current is
// flat and low where the script does not have it; nullopt: not measured.
Worry worry_of(const std::optional<family::Stuck>& figures, const std::optional<WorryPart>& silent,
               std::optional<bool> low_now);

// "88 in 100", "1 in 3", "fewer than 1 in 100": a chance as plain counts.
std::string chance_words(double p);
std::string worry_words(const Worry& w);  // one sentence with range, parts and grounds

}  // namespace fettle::watch
