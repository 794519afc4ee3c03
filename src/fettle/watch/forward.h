// The forward pass of a hidden semi-Markov model in steps of equal length: how likely is each state now, after all that
// was seen? A state lasts by its own law (chance to be left at each age), then leads to the next one. Knows nothing of
// boxes; a plain hidden Markov model is the case of constant chances, and a textbook's trellis comes out of it.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <vector>

namespace fettle::watch {

// A copy shares the laws of the states and holds only where the chance is now: cheap enough to keep one every so often
// and to go on from it.
class Forward {
public:
    struct State {
        // Chance to be left at the end of its step number d (0 for the step it was entered in); the last value holds
        // for all later ones. One value: the age does not matter, and is not kept. Empty: never left.
        std::vector<double> leaves;
        std::size_t next = 0;
    };
    explicit Forward(std::vector<State> states);

    std::size_t size() const { return mass_.size(); }
    // Adds chance to a state, as entered now.
    void put(std::size_t state, double chance);
    // One step of time: what leaves its state enters the next one at age 0. A chain 0 → 1 → 2 … moves by one at most.
    void advance();
    // Part of what is in `from` (any age) goes over to `to`, as entered now; `to` keeps no age.
    void leak(std::size_t from, std::size_t to, double part);

    // The likelihood of what was seen, for a state as a whole or by its age in steps. Nothing is ever impossible: less
    // than 1e-30 counts as that, so that no evidence can leave no state at all.
    void weigh(std::size_t state, double likelihood);
    void weigh_by_age(std::size_t state, const std::function<double(std::size_t age)>& likelihood);
    // The same from a table by age, each in [1e-30, 1e30]; its last value holds for all later ages.
    void weigh_by_age(std::size_t state, const std::vector<double>& likelihood);
    // Makes the chances add up to 1 again; the factor taken out is returned (likelihood of the evidence since the last
    // time). 0 when nothing was put in yet.
    double normalise();

    double chance(std::size_t state) const { return mass_[state].sum; }  // after normalise(): of all, in [0, 1]
    // each(age in steps, chance), oldest first; one call with age 0 where ages are not kept.
    template <typename Each>
    void by_age(std::size_t state, Each each) const {
        const Mass& m = mass_[state];
        const std::size_t n = m.parts.size();
        for (std::size_t i = m.first; i < n; ++i) each(aged(state) ? n - 1 - i : 0, m.parts[i] * m.scale);
    }

private:
    // Parts by age, the newest last; what they are worth is parts × scale, so that weighing a whole state is one
    // product.
    struct Mass {
        std::vector<double> parts;
        std::size_t first = 0;  // those before it are spent
        double scale = 1, sum = 0;
    };
    bool aged(std::size_t s) const { return (*laws_)[s].leaves.size() > 1; }
    void enter(std::size_t state, double chance);  // at age 0, one age added
    void trim(Mass& m);

    std::shared_ptr<const std::vector<State>> laws_;
    std::vector<Mass> mass_;
    std::vector<double> enters_;  // of one step; kept for its memory
    unsigned steps_ = 0;
};

}  // namespace fettle::watch
