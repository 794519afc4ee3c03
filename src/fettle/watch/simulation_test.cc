// Does the watch keep its promises in a world that is not its own? The table in docs/watch.md comes from here:
//   FETTLE_RUNS=10000 watch_test --gtest_filter=Simulation.*
// prints it. The fast tier takes a few runs and holds only what must never happen.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>

#include "fettle/watch/example_run.h"
#include "fettle/watch/future.h"
#include "fettle/watch/simulated_world_test_help.h"

namespace fettle::watch {
namespace {

struct Counted {
    int runs = 0, good = 0, stalls = 0, false_stuck = 0, named = 0, named_late = 0;
    int called = 0, called_early = 0, called_late = 0, in_window = 0, end_in_window = 0;
    std::vector<double> late_s, named_s;  // after the ask; after the stall
};

double p99_s(const Model& model) {
    std::vector<Place> start;
    for (std::size_t l = 0; l < model.levels(); ++l) start.push_back({0, l, 0, model.weight(l)});
    return quantile(Future(model, start, 4000).begins(model.chain().size() - 1), 0.99);
}

// One run, watched second by second with supply current and what taps there are; until the call for hands is due, or,
// of a stalled run, until it is named or the family's P99 has passed.
void watch_one(const Step& step, const Model& model, const SimulatedRun& run, double limit_s, Counted& c) {
    Follower f(step, model);
    const std::size_t ask = model.chain_from(run.ask_act);
    std::size_t tap = 0;
    const bool stalls = run.stall_s >= 0;
    ++c.runs;
    ++(stalls ? c.stalls : c.good);
    f.begin({});
    double window_from = 0, window_to = 0;
    bool stuck_said = false;
    double called_s = -1;
    const double until = stalls ? limit_s : std::min(3000.0, run.asks_s + 300);
    for (double s = 1; s <= until; ++s) {
        std::vector<Sign> signs;
        while (tap < run.taps.size() && run.taps[tap].at_s <= s) {
            Sign sign;
            sign.what = run.taps[tap].event;
            sign.at_s = s;
            signs.push_back(sign);
            ++tap;
        }
        f.second(signs, run.amps[static_cast<std::size_t>(s)], 0.1);
        if (s == 1) {
            const auto begins = Future(model, f.places(), 2000).begins(ask);
            window_from = 1 + quantile(begins, 0.1);
            window_to = 1 + quantile(begins, 0.9);
        }
        if (f.stuck() >= 0.5) {
            if (stalls && s >= run.stall_s) {
                ++c.named;
                c.named_s.push_back(s - run.stall_s);
                return;
            }
            if (!stuck_said) {
                ++c.false_stuck;
                stuck_said = true;
            }
        }
        if (stalls || called_s >= 0) continue;
        const bool asks_now = f.in(ask) >= 0.8;
        const auto sec = static_cast<int>(s);
        if (asks_now || (sec % 10 == 0 && s > 0.4 * window_from &&
                         f.in(ask) + Future(model, f.places(), 250).begins_within(ask, 180) * f.good() >= 0.8))
            called_s = s;
    }
    if (stalls) {
        ++c.named_late;
        return;
    }
    c.in_window += run.asks_s >= window_from && run.asks_s <= window_to;
    const double late = called_s < 0 ? 1e9 : called_s - run.asks_s;
    c.late_s.push_back(late);
    if (late > 60)
        ++c.called_late;
    else if (late < -360)
        ++c.called_early;
    else
        ++c.called;
}

std::string share(int n, int of) {
    return fmt::format("{} of {} ({:.2f} %)", n, of, of ? 100.0 * n / of : 0.0);
}

TEST(Simulation, KeepsItsPromisesInAWorldThatIsNotItsOwn) {
    const char* wanted = std::getenv("FETTLE_RUNS");
    const int runs = wanted ? std::atoi(wanted) : 24;
    const ExampleRun example(9);
    const Step step{example.family, example.sheet, example.forecast, example.map};
    const Model model(step, true);
    const double limit_s = p99_s(model);
    SimulatedWorld world(20261125);
    Counted c;
    for (int i = 0; i < runs; ++i)
        watch_one(step, model, world.run(example.family, example.forecast, i % 5 == 0), limit_s, c);
    ASSERT_EQ(c.runs, runs);
    ASSERT_GT(c.stalls, 0);
    // What must never happen, whatever the seed: that good runs are called stuck by the dozen, or nobody is called.
    EXPECT_LE(c.false_stuck, 1 + c.good / 50);
    EXPECT_GE(c.called, c.good * 3 / 4);
    EXPECT_GE(c.named, c.stalls / 2);
    if (!wanted) return;
    const auto at = [](std::vector<double> v, double q) { return quantile(std::move(v), q); };
    fmt::print("| false \"stuck\" | {} of good runs |\n", share(c.false_stuck, c.good));
    fmt::print("| stall named within the forecast's P99 ({:.0f} s) | {} |\n", limit_s, share(c.named, c.stalls));
    fmt::print("| named after the stall, half / nine in ten | {:.0f} / {:.0f} s |\n", at(c.named_s, 0.5),
               at(c.named_s, 0.9));
    fmt::print("| hands called from 6 min before the ask to 1 min after | {} |\n", share(c.called, c.good));
    fmt::print("| called earlier / later than that | {} / {} |\n", share(c.called_early, c.good),
               share(c.called_late, c.good));
    fmt::print("| call against the ask, 1 % / half / 99 % | {:.0f} / {:.0f} / {:.0f} s |\n", at(c.late_s, 0.01),
               at(c.late_s, 0.5), at(c.late_s, 0.99));
    fmt::print("| ask inside the window of eight in ten promised at the start | {} |\n", share(c.in_window, c.good));
}

}  // namespace
}  // namespace fettle::watch
