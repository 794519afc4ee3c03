// Every subset of the jobs has one length, whatever its order; so subsets are added up once, and a division of the jobs
// among benches costs a few look-ups.
#include "fettle/watch/bench_order.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace fettle::watch {
namespace {

constexpr double kGrid_s = 30;
constexpr std::size_t most_equal = 32;  // divisions of the same end whose orders are compared

// Chances of 0, 1, 2 … grid steps.
using Steps = std::vector<double>;

Steps steps_of(const Spread& s) {
    Steps out(1, 0.0);
    for (std::size_t i = 0; i < s.p.size(); ++i) {
        const double at = (s.from_s + s.step_s * static_cast<double>(i)) / kGrid_s;
        const auto k = static_cast<std::size_t>(std::max(0L, std::lround(at)));
        if (out.size() <= k) out.resize(k + 1, 0.0);
        out[k] += s.p[i];
    }
    if (s.p.empty()) out[0] = 1;
    return out;
}

Steps sum(const Steps& a, const Steps& b) {
    Steps out(a.size() + b.size() - 1, 0.0);
    for (std::size_t i = 0; i < a.size(); ++i) {
        if (a[i] == 0) continue;
        for (std::size_t j = 0; j < b.size(); ++j) out[i + j] += a[i] * b[j];
    }
    return out;
}

Spread spread_of(const Steps& s) {
    const auto first = std::find_if(s.begin(), s.end(), [](double p) { return p > 0; });
    return {kGrid_s * static_cast<double>(first - s.begin()), kGrid_s, Steps(first, s.end())};
}

Steps upto(Steps s) {
    std::partial_sum(s.begin(), s.end(), s.begin());
    return s;
}

// The least grid step at which every bench is done at that certainty.
std::size_t done_at(const std::vector<const Steps*>& benches, double certainty) {
    std::size_t last = 0;
    for (const Steps* b : benches) last = std::max(last, b->size() - 1);
    const auto chance = [&](std::size_t at) {
        double p = 1;
        for (const Steps* b : benches) p *= (*b)[std::min(at, b->size() - 1)];
        return p;
    };
    std::size_t low = 0, high = last;
    while (low < high) {
        const std::size_t mid = (low + high) / 2;
        if (chance(mid) >= certainty - 1e-9)
            high = mid;
        else
            low = mid + 1;
    }
    return low;
}

using Division = std::vector<std::vector<std::size_t>>;  // bench → jobs

class Orderer {
public:
    Orderer(const std::vector<BenchJob>& jobs, std::size_t benches, double certainty)
        : jobs_(jobs), benches_(std::min(benches, std::max<std::size_t>(1, jobs.size()))), certainty_(certainty) {
        for (const BenchJob& j : jobs) {
            steps_.push_back(steps_of(j.takes));
            middle_.push_back(j.takes.quantile(0.5));
        }
    }

    BenchOrder run() {
        BenchOrder out;
        out.exact = jobs_.size() <= most_jobs_exact;
        if (out.exact)
            divide();
        else
            longest_first();
        Division best = best_.front();
        double least = -1;
        for (const Division& d : best_) {
            Division ordered = d;
            const double together = order(ordered);
            if (least < 0 || together < least - 1e-6) least = together, best = std::move(ordered);
        }
        tell(best, out);
        return out;
    }

private:
    // Of all divisions those that end earliest. Benches are alike: a job opens at most one empty bench.
    void divide() {
        const std::size_t subsets = std::size_t{1} << jobs_.size();
        std::vector<Steps> length(subsets);
        length[0] = {1.0};
        for (std::size_t s = 1; s < subsets; ++s) {
            std::size_t j = 0;
            while (((s >> j) & 1) == 0) ++j;
            length[s] = sum(length[s & (s - 1)], steps_[j]);
        }
        for (Steps& s : length) s = upto(std::move(s));
        std::vector<std::size_t> on(benches_, 0);
        place(0, 0, on, length);
    }

    void place(std::size_t job, std::size_t used, std::vector<std::size_t>& on, const std::vector<Steps>& length) {
        if (job == jobs_.size()) {
            std::vector<const Steps*> ends;
            for (const std::size_t s : on) ends.push_back(&length[s]);
            keep(done_at(ends, certainty_), on);
            return;
        }
        for (std::size_t b = 0; b < std::min(used + 1, benches_); ++b) {
            on[b] |= std::size_t{1} << job;
            place(job + 1, std::max(used, b + 1), on, length);
            on[b] &= ~(std::size_t{1} << job);
        }
    }

    void keep(std::size_t end, const std::vector<std::size_t>& on) {
        if (!best_.empty() && end > end_) return;
        if (best_.empty() || end < end_) best_.clear();
        end_ = end;
        if (best_.size() == most_equal) return;
        best_.emplace_back();
        for (const std::size_t s : on) {
            best_.back().emplace_back();
            for (std::size_t j = 0; j < jobs_.size(); ++j)
                if (((s >> j) & 1) != 0) best_.back().back().push_back(j);
        }
    }

    // The longest next on the bench that is free first: at most a third over the earliest end (Graham 1969).
    void longest_first() {
        std::vector<std::size_t> by_length(jobs_.size());
        std::iota(by_length.begin(), by_length.end(), 0);
        std::stable_sort(by_length.begin(), by_length.end(),
                         [&](std::size_t a, std::size_t b) { return middle_[a] > middle_[b]; });
        Division d(benches_);
        std::vector<double> full(benches_, 0.0);
        for (const std::size_t j : by_length) {
            const auto b = static_cast<std::size_t>(std::min_element(full.begin(), full.end()) - full.begin());
            d[b].push_back(j);
            full[b] += middle_[j];
        }
        best_ = {std::move(d)};
    }

    // Seconds in which two jobs want hands at once, by the middles of all chances; the least over the orders of one
    // bench after the other, until none gets better.
    double order(Division& d) const {
        double least = together(d);
        for (bool better = least > 0; better;) {
            better = false;
            for (auto& bench : d) {
                if (bench.size() > 7) continue;  // 5,040 orders
                std::vector<std::size_t> best = bench;
                std::sort(bench.begin(), bench.end());
                do {
                    const double now = together(d);
                    if (now < least - 1e-6) least = now, best = bench, better = true;
                } while (std::next_permutation(bench.begin(), bench.end()));
                bench = best;
            }
        }
        return least;
    }

    double together(const Division& d) const {
        struct Taken {
            std::size_t bench;
            double from_s, to_s;
        };
        std::vector<Taken> taken;
        for (std::size_t b = 0; b < d.size(); ++b) {
            double at = 0;
            for (const std::size_t j : d[b]) {
                for (const HandsAsk& a : jobs_[j].asks)
                    taken.push_back({b, at + a.at.quantile(0.1), at + a.at.quantile(0.9) + a.hands_s});
                at += middle_[j];
            }
        }
        double out = 0;
        for (std::size_t i = 0; i < taken.size(); ++i)
            for (std::size_t j = 0; j < i; ++j)
                if (taken[i].bench != taken[j].bench)
                    out += std::max(
                        0.0, std::min(taken[i].to_s, taken[j].to_s) - std::max(taken[i].from_s, taken[j].from_s));
        return out;
    }

    void tell(const Division& d, BenchOrder& out) const {
        std::vector<Steps> ends;
        for (std::size_t b = 0; b < d.size(); ++b) {
            Steps at{1.0};
            for (const std::size_t j : d[b]) {
                BenchSlot slot{j, b, spread_of(at), {}};
                for (HandsAsk a : jobs_[j].asks) {
                    a.bench = jobs_[j].name;
                    a.at = spread_of(sum(at, steps_of(a.at)));
                    out.asks.push_back(std::move(a));
                }
                at = sum(at, steps_[j]);
                slot.end = spread_of(at);
                out.slots.push_back(std::move(slot));
            }
            ends.push_back(upto(at));
        }
        std::vector<const Steps*> all;
        for (const Steps& e : ends) all.push_back(&e);
        out.end_s = kGrid_s * static_cast<double>(done_at(all, certainty_));
        for (const Clash& c : clashes(out.asks)) {
            const auto bench = [&](std::size_t ask) {
                for (const BenchSlot& s : out.slots)
                    if (jobs_[s.job].name == out.asks[ask].bench) return s.bench;
                return benches_;
            };
            if (bench(c.a) != bench(c.b)) out.clashes.push_back(c);  // of one bench: one after the other
        }
    }

    const std::vector<BenchJob>& jobs_;
    std::size_t benches_;
    double certainty_;
    std::vector<Steps> steps_;
    std::vector<double> middle_;
    std::vector<Division> best_;
    std::size_t end_ = 0;
};

}  // namespace

BenchOrder bench_order(const std::vector<BenchJob>& jobs, std::size_t benches, double certainty) {
    if (jobs.empty() || benches == 0) return {};
    return Orderer(jobs, benches, certainty).run();
}

}  // namespace fettle::watch
