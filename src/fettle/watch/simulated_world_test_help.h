// Runs that the tracker did not draw: durations with heavier tails than its own, a slow card that nobody knows of, taps
// that are missed or late, a phone whose clock is off, current with a drift and noise that hangs together, runs that
// stall. Shares with the tracker only the names of the acts and their typical figures.
#pragma once

#include <cmath>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "fettle/forecast/forecast.h"

namespace fettle::watch {

struct SimulatedRun {
    struct Tap {
        double at_s;
        std::string event;
    };
    std::vector<double> begins_s;  // of each act of the script, and the end; without a stall
    std::vector<Tap> taps;         // by the phone's clock
    std::vector<double> amps;      // by second
    double stall_s = -1;           // from then on nothing happens; negative: a good run
    double asks_s = -1;            // the box asks; what follows waits for a hand
    std::size_t ask_act = 0;
    bool slow_card = false;
};

class SimulatedWorld {
public:
    explicit SimulatedWorld(std::uint64_t seed) : random_(seed) {}

    // with_stall: it stalls somewhere in the working acts before the ask.
    SimulatedRun run(const family::Family& family, const forecast::Forecast& forecast, bool with_stall) {
        SimulatedRun out;
        const double shared = std::exp(0.1 * heavy());
        out.slow_card = uniform() < 0.1;
        const double slow = out.slow_card ? 1.4 + 0.9 * uniform() : 1;
        double at = 0;
        std::vector<double> mean_A;
        for (std::size_t i = 0; i < family.script.size(); ++i) {
            const family::Act& act = family.script[i];
            out.begins_s.push_back(at);
            double median = 0, sigma = 0, amps = 0;
            for (const auto& w : forecast.states) {
                if (w.act != act.id) continue;
                median = w.lasts.p50_s;
                sigma = median > 0 ? std::log(w.lasts.p90_s / median) / 1.2816 : 0;
                amps = w.current_mean_A;
            }
            mean_A.push_back(amps);
            double lasts = median * std::exp(0.9 * sigma * heavy()) * shared;
            const bool medium = act.kind == family::ActKind::read || act.kind == family::ActKind::compare ||
                                act.kind == family::ActKind::write;
            if (medium) lasts *= slow;
            if (act.kind == family::ActKind::ask) {
                out.asks_s = at;
                out.ask_act = i;
                lasts = 3600;  // until somebody comes
            }
            at += lasts;
        }
        out.begins_s.push_back(at);
        if (with_stall) out.stall_s = 20 + uniform() * (out.asks_s - 40);
        taps(family, out);
        current(family, out, mean_A);
        return out;
    }

private:
    double uniform() { return std::uniform_real_distribution<double>(0, 1)(random_); }
    double normal() { return std::normal_distribution<double>()(random_); }
    // Student's t with 4 degrees of freedom, bounded: far more very slow acts than a normal has.
    double heavy() {
        const double z = std::student_t_distribution<double>(4)(random_);
        return std::fmin(std::fmax(z, -3), 6);
    }

    void taps(const family::Family& family, SimulatedRun& out) {
        const double clock_off_s = uniform() < 0.3 ? 40 * (2 * uniform() - 1) : 0;
        for (std::size_t i = 1; i < family.script.size(); ++i) {
            const bool dark = family.script[i].dark, was = family.script[i - 1].dark;
            if (dark == was || out.begins_s[i] >= out.asks_s) continue;
            if (out.stall_s >= 0 && out.begins_s[i] > out.stall_s) continue;
            if (uniform() < 0.25) continue;  // missed
            const double late = uniform() < 0.1 ? -60 * std::log(uniform()) : -4 * std::log(uniform());
            out.taps.push_back({out.begins_s[i] + late + clock_off_s, dark ? "dark" : "back"});
        }
    }

    void current(const family::Family& family, SimulatedRun& out, const std::vector<double>& mean_A) {
        const double gain = 1 + 0.06 * normal();
        double drift = 0, stalled_A = -1;
        std::size_t act = 0;
        for (double s = 0; s < 4000; ++s) {
            const double place = out.stall_s >= 0 ? std::fmin(s, out.stall_s) : s;
            while (act + 1 < family.script.size() && out.begins_s[act + 1] <= place) ++act;
            drift = 0.9 * drift + 0.07 * normal();
            double a = mean_A[act] * gain + drift;
            if (out.stall_s >= 0 && s >= out.stall_s) {
                if (stalled_A < 0) stalled_A = uniform() < 0.7 ? 0.5 + 0.4 * uniform() : mean_A[act] * gain;
                a = stalled_A + 0.02 * normal();
            }
            out.amps.push_back(std::fmax(0, a));
        }
    }

    std::mt19937_64 random_;
};

}  // namespace fettle::watch
