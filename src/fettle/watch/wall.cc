#include "fettle/watch/wall.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>

#include "fettle/base/text.h"

namespace fettle::watch {
namespace {

constexpr double kSame = 1e-9;  // grid values that close are the same

std::optional<double> minutes(std::string_view text) {
    double v = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), v);
    if (error != std::errc() || end != text.data() + text.size() || !(v >= 0) || v > 100'000) return std::nullopt;
    return v;
}

// Chance that `s` lies strictly between two values.
double between(const Spread& s, double low, double high) {
    double sum = 0;
    for (std::size_t i = 0; i < s.p.size(); ++i) {
        const double v = s.from_s + s.step_s * static_cast<double>(i);
        if (v > low + kSame && v < high - kSame) sum += s.p[i];
    }
    return sum;
}

// Sums of p up to each grid value, so that a stretch costs two look-ups.
class Sums {
public:
    explicit Sums(const Spread& s) : s_(s) {
        double sum = 0;
        for (double p : s.p) upto_.push_back(sum += p);
    }
    double between(double low, double high) const { return std::max(0.0, below(high, true) - below(low, false)); }

private:
    // Chance of values < v (strict) or <= v.
    double below(double v, bool strict) const {
        if (upto_.empty()) return 0;
        const double at = (v - s_.from_s) / s_.step_s;
        const double i = strict ? std::ceil(at - kSame) - 1 : std::floor(at + kSame);
        if (i < 0) return 0;
        return upto_[std::min(static_cast<std::size_t>(i), upto_.size() - 1)];
    }
    const Spread& s_;
    std::vector<double> upto_;
};

}  // namespace

Result<HandsAsk> parse_hands_window(std::string_view text) {
    constexpr auto npos = std::string_view::npos;
    const auto eq = text.rfind('='), dash = text.find('-', eq == npos ? 0 : eq),
               plus = text.find('+', dash == npos ? 0 : dash);
    if (eq != npos && eq > 0 && dash != npos && plus != npos) {
        const auto from = minutes(text.substr(eq + 1, dash - eq - 1));
        const auto to = minutes(text.substr(dash + 1, plus - dash - 1));
        const auto hands = minutes(text.substr(plus + 1));
        if (from && to && hands && *to >= *from)
            return HandsAsk{std::string(text.substr(0, eq)), "asks for hands", evenly(60 * *from, 60 * *to),
                            60 * *hands};
    }
    return usage_error("window-unreadable", printable(text), "no NAME=FROM-TO+HANDS in minutes",
                       "say it like \"bench 2=22-28+3\"");
}

double Spread::quantile(double q) const {
    double sum = 0;
    for (std::size_t i = 0; i < p.size(); ++i) {
        sum += p[i];
        if (sum >= q - 1e-12) return from_s + step_s * static_cast<double>(i);
    }
    return to_s();
}

Spread evenly(double from_s, double to_s, double step_s) {
    Spread s;
    s.from_s = from_s;
    s.step_s = step_s;
    const auto n = static_cast<std::size_t>(std::floor(std::max(0.0, to_s - from_s) / step_s + kSame)) + 1;
    s.p.assign(n, 1.0 / static_cast<double>(n));
    return s;
}

Spread from_draws(const std::vector<double>& seconds, double step_s) {
    std::map<long, int> count;
    for (double v : seconds) {
        if (std::isfinite(v)) ++count[std::lround(v / step_s)];
    }
    Spread s;
    s.step_s = step_s;
    if (count.empty()) return s;
    s.from_s = static_cast<double>(count.begin()->first) * step_s;
    s.p.assign(static_cast<std::size_t>(count.rbegin()->first - count.begin()->first) + 1, 0.0);
    int n = 0;
    for (const auto& [v, c] : count) n += c;
    for (const auto& [v, c] : count) s.p[static_cast<std::size_t>(v - count.begin()->first)] = double(c) / n;
    return s;
}

double clash(const HandsAsk& a, const HandsAsk& b) {
    double sum = 0;
    for (std::size_t i = 0; i < b.at.p.size(); ++i) {
        if (b.at.p[i] <= 0) continue;
        const double v = b.at.from_s + b.at.step_s * static_cast<double>(i);
        sum += b.at.p[i] * between(a.at, v - a.hands_s, v + b.hands_s);
    }
    return sum;
}

std::vector<Clash> clashes(const std::vector<HandsAsk>& asks, double at_least) {
    std::vector<Clash> out;
    for (std::size_t i = 0; i < asks.size(); ++i) {
        for (std::size_t j = i + 1; j < asks.size(); ++j) {
            if (asks[i].bench == asks[j].bench) continue;
            const double p = clash(asks[i], asks[j]);
            if (p >= at_least) out.push_back({i, j, p});
        }
    }
    return out;
}

double no_wait(const std::vector<HandsAsk>& there, const std::vector<HandsAsk>& next, double delay_s) {
    std::vector<Sums> sums;
    for (const HandsAsk& a : there) sums.emplace_back(a.at);
    double all = 1;
    for (const HandsAsk& n : next) {
        double good = n.at.p.empty() ? 1 : 0;
        for (std::size_t i = 0; i < n.at.p.size(); ++i) {
            if (n.at.p[i] <= 0) continue;
            const double v = delay_s + n.at.from_s + n.at.step_s * static_cast<double>(i);
            double free = n.at.p[i];
            for (std::size_t k = 0; k < there.size(); ++k)
                free *= 1 - sums[k].between(v - there[k].hands_s, v + n.hands_s);
            good += free;
        }
        all *= good;
    }
    return all;
}

std::optional<double> start_after(const std::vector<HandsAsk>& there, const std::vector<HandsAsk>& next,
                                  double certainty, double limit_s, double step_s) {
    for (double delay_s = 0; delay_s <= limit_s; delay_s += step_s) {
        if (no_wait(there, next, delay_s) >= std::min(certainty, 1.0) - 1e-9) return delay_s;
    }
    return std::nullopt;
}

}  // namespace fettle::watch
