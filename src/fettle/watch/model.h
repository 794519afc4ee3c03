// The script as a hidden semi-Markov model: a chain of the acts that last, each as often as the shared factor has
// values (a slow card is slow in every act), then for each act "stuck in it" in two ways, and one state "astray".
// Times come from the forecast, currents from the family file; every other figure stands in this header and is a guess
// unless it says otherwise.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "fettle/watch/forward.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {

struct Rates {                // guesses, all of them; docs/watch.md has what the simulation says of them
    double tap_hit = 0.8;     // somebody who marks also marks the next sign; after one missed they are taken to be away
    double tap_false = 2e-6;  // a second and kind of event: a wrong tap in every hundredth run or so
    double machine_hit = 0.98;       // the same for a mark by link, current or stand-in
    double astray_mark = 1.0 / 120;  // a second: marks of a run that has left the script
    double astray = 0.02;            // of runs
    double stuck = 0.01;             // of runs, when the family file does not say
    double stuck_low = 0.6;          // of those: the current goes low; when the family file does not say
    double after_astray = 0.5;       // an act named by a person is believed also after that
};
inline constexpr Rates kRates;

struct ChainAct {
    std::size_t act = 0;          // index in the script
    double median_s = 0;          // of the forecast
    double shared = 0, own = 0;   // standard deviations of ln seconds: with all other acts, and by itself
    double mean_A = 0, sd_A = 0;  // 0: not known
    bool dark = false;
    bool waits = false;      // for a person: an ask, or on a bench what has to be fed
    bool on_medium = false;  // it reads or writes one
    bool end = false;
    int pieces = 0, pieces_before = 0;  // written in it, and by the acts before it
};

// How a box hangs stays so for as long as it hangs: at a low and even current, or evenly at the act's own. One that
// hangs as lively as it works cannot be told from a slow one; there lateness speaks alone, and is said as that.
inline constexpr std::size_t kStuckLow = 0, kStuckEven = 1, kWaysStuck = 2;

class Model {
public:
    // `step` must outlive it; its script has acts, its forecast states.
    Model(const Step& step, bool on_bench);

    const std::vector<ChainAct>& chain() const { return chain_; }
    const std::vector<family::Act>& script() const { return script_; }
    const family::Act& act(std::size_t k) const { return script_[chain_[k].act]; }
    std::size_t levels() const { return weight_.size(); }              // of the shared factor
    double weight(std::size_t level) const { return weight_[level]; }  // before anything was seen
    // Half of the runs on that level are through act k within so many seconds.
    double median_s(std::size_t k, std::size_t level) const { return medians_[level * chain_.size() + k]; }
    // Chance that act k lasts longer than that, on a level; with the forecast's own spread.
    double lasts_beyond(std::size_t k, std::size_t level, double seconds) const;
    // Seconds of act k on a level for a standard normal value; of its good course, not of a person's waiting.
    double seconds(std::size_t k, std::size_t level, double normal) const;

    std::size_t state(std::size_t k, std::size_t level) const { return level * chain_.size() + k; }
    std::size_t stuck(std::size_t k, std::size_t how) const { return (levels() + how) * chain_.size() + k; }
    std::size_t astray() const { return (levels() + kWaysStuck) * chain_.size(); }
    const Forward& start() const { return *start_; }  // everything in the first act, at age 0

    // First act of the chain that is, or comes after, act `index` of the script.
    std::size_t chain_from(std::size_t index) const;
    double stuck_a_second(std::size_t k) const;
    double stuck_share(std::size_t how) const;  // of those that get stuck
    double astray_a_second() const { return astray_a_second_; }
    double low_A() const { return low_A_; }  // at or below it: "flat low"
    double top_A() const { return top_A_; }
    double total_s() const { return total_s_; }  // of the medians

private:
    void acts(const Step& step, bool on_bench);
    void calibrate(const forecast::Forecast& forecast);
    void levels_of_shared_factor(int degrees);
    void currents(const std::optional<family::Stuck>& stuck);
    std::vector<double> leaves(std::size_t k, std::size_t level) const;

    const std::vector<family::Act>& script_;
    std::vector<ChainAct> chain_;
    std::vector<double> medians_, weight_;
    std::optional<Forward> start_;
    double total_s_ = 0, stuck_run_ = 0, stuck_low_ = 0, astray_a_second_ = 0, low_A_ = 0, top_A_ = 1;
};

}  // namespace fettle::watch
