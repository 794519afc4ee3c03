// Two or three benches and one pair of hands: the windows in which each asks for hands on one clock, which of them may
// clash, and when to start the next job so that, at a chosen certainty, nobody has to wait. Exact on the distributions
// given: no draws, no normal curves. Different benches count as independent; so do the asks of one job.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"

namespace fettle::watch {

// Chances on a grid: p[i] is the chance of from_s + i × step_s. They add up to 1.
struct Spread {
    double from_s = 0, step_s = 1;
    std::vector<double> p;

    double to_s() const { return from_s + step_s * (p.empty() ? 0.0 : static_cast<double>(p.size() - 1)); }
    double quantile(double q) const;  // the least grid value with at least q at or below it
};
// Every grid value from from_s to to_s, both included, equally likely.
Spread evenly(double from_s, double to_s, double step_s = 1);
// As drawn; rounded to the grid. An empty list gives an empty spread.
Spread from_draws(const std::vector<double>& seconds, double step_s = 1);

struct HandsAsk {
    std::string bench;     // who asks: "bench 1", a job's number
    std::string words;     // "asks for the knob"
    Spread at;             // seconds on the shared clock
    double hands_s = 180;  // the person is taken up for so long
};

// "bench 2=22-28+3": asks for hands in 22 to 28 min, for 3 min. usage "window-unreadable".
Result<HandsAsk> parse_hands_window(std::string_view text);

// One of the two has to wait: it asks while the hands are at the other. The end of one may be the beginning of the
// other.
double clash(const HandsAsk& a, const HandsAsk& b);

struct Clash {
    std::size_t a = 0, b = 0;  // of the list
    double p = 0;
};
// Pairs of different benches with at least that chance, in the order of the list.
std::vector<Clash> clashes(const std::vector<HandsAsk>& asks, double at_least = 0.01);

// Chance that none of `next`, begun delay_s from now, waits for or makes wait any of `there`. `next` counts from its
// own start.
double no_wait(const std::vector<HandsAsk>& there, const std::vector<HandsAsk>& next, double delay_s);

// The least delay (on a grid of step_s, up to limit_s) with no_wait >= certainty; certainty 1: never. nullopt: none.
std::optional<double> start_after(const std::vector<HandsAsk>& there, const std::vector<HandsAsk>& next,
                                  double certainty, double limit_s = 4 * 3600, double step_s = 15);

struct WallRow {
    std::string bench, says;     // "bench 1", "writes the main system"
    std::vector<HandsAsk> asks;  // on the shared clock
    double end_s = 0;            // expected; 0: not known
    bool hands_now = false;
};
// Lines of at most `width` columns. `clock` gives the time of day at so many seconds from now ("20:47").
std::vector<std::string> wall(const std::vector<WallRow>& rows, int width, bool ascii,
                              const std::vector<std::string>& minute_labels);
// Label positions: seconds from now of the round minutes that wall() wants named, for these rows and width.
std::vector<double> wall_ticks(const std::vector<WallRow>& rows, int width);

}  // namespace fettle::watch
