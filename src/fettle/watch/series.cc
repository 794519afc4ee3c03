// The order that readings come in must not matter, to the last bit: a watch that was killed reads them from a file and
// must show what the one before it showed. So they are kept in order of time, and those of one second are added up in
// that order.
#include "fettle/watch/series.h"

#include <algorithm>
#include <cmath>
#include <tuple>

namespace fettle::watch {
namespace {

constexpr double kIndependent_s = 10;  // readings of a working box nearer together than that tell much the same (guess)

}  // namespace

std::optional<long> AmpsSeries::add(std::span<const SupplySample> samples) {
    const auto before = [](const Reading& a, const Reading& b) {
        return std::tie(a.t, a.amps, a.volts) < std::tie(b.t, b.amps, b.volts);
    };
    const auto had = static_cast<std::ptrdiff_t>(readings_.size());
    for (const SupplySample& s : samples) {
        if (s.has_amps() && s.amps <= most_A && s.t >= started_)
            readings_.push_back({s.t, s.amps, s.has_volts() ? std::optional(s.volts) : std::nullopt, 0});
        else
            ++no_readings_;
    }
    const auto fresh = readings_.begin() + had;
    if (fresh == readings_.end()) return std::nullopt;
    std::sort(fresh, readings_.end(), before);
    const Reading first = *fresh;
    auto from = static_cast<std::size_t>(had);
    if (had > 0 && before(first, readings_[from - 1])) {
        from = static_cast<std::size_t>(std::upper_bound(readings_.begin(), fresh, first, before) - readings_.begin());
        std::inplace_merge(readings_.begin() + static_cast<std::ptrdiff_t>(from), fresh, readings_.end(), before);
    }
    points_.resize(from);
    for (std::size_t i = from; i < readings_.size(); ++i) {
        Reading& r = readings_[i];
        const bool same = i > 0 && r.amps == readings_[i - 1].amps && r.volts == readings_[i - 1].volts;
        r.same_from = same ? readings_[i - 1].same_from : i;
        points_.push_back({static_cast<double>(r.t - started_) / 1000, r.amps});
    }
    return second_of(first);
}

void AmpsSeries::until(UnixMs now) {
    now_s_ = static_cast<long>(std::max<UnixMs>(0, now - started_) / 1000);
    // Mostly a few have come since the last time: they are looked for from there.
    counted_ = std::min(counted_, readings_.size());
    while (counted_ < readings_.size() && readings_[counted_].t <= now) ++counted_;
    while (counted_ > 0 && readings_[counted_ - 1].t > now) --counted_;
}

std::size_t AmpsSeries::first_in(long s) const {
    return static_cast<std::size_t>(
        std::lower_bound(readings_.begin(), readings_.end(), s,
                         [&](const Reading& r, long second) { return second_of(r) < second; }) -
        readings_.begin());
}

double AmpsSeries::mean(std::size_t from, std::size_t to) const {
    double sum = 0;
    for (std::size_t i = from; i < to; ++i) sum += readings_[i].amps;
    return sum / static_cast<double>(to - from);
}

std::optional<double> AmpsSeries::at(long s) const {
    const std::size_t from = first_in(s);
    std::size_t to = from;
    while (to < readings_.size() && second_of(readings_[to]) == s) ++to;
    if (from == to) return std::nullopt;
    return mean(from, to);
}

double AmpsSeries::weight(long s) const {
    const std::size_t from = first_in(s);
    if (from == 0 || from == readings_.size() || second_of(readings_[from]) != s) return 1;
    return std::min(1.0, static_cast<double>(s - second_of(readings_[from - 1])) / kIndependent_s);
}

std::optional<long> AmpsSeries::next(long s) const {
    const std::size_t from = first_in(s);
    if (from == readings_.size()) return std::nullopt;
    return second_of(readings_[from]);
}

std::optional<AmpsSeries::Level> AmpsSeries::lately(double seconds) const {
    double sum = 0, squares = 0;
    int n = 0;
    std::size_t i = std::min(counted_, first_in(now_s_ - static_cast<long>(seconds) + 1));
    while (i < counted_) {  // second by second; the last one may not be over yet
        std::size_t to = i + 1;
        while (to < counted_ && second_of(readings_[to]) == second_of(readings_[i])) ++to;
        const double x = mean(i, to);
        sum += x;
        squares += x * x;
        ++n;
        i = to;
    }
    if (n < 5) return std::nullopt;
    Level out;
    out.mean = sum / n;
    out.sd = std::sqrt(std::max(0.0, squares / n - out.mean * out.mean));
    return out;
}

double AmpsSeries::same_for_s() const {
    constexpr std::size_t kAtLeast = 20;
    if (counted_ == 0) return 0;
    const Reading& newest = readings_[counted_ - 1];
    if (counted_ - newest.same_from < kAtLeast) return 0;
    return static_cast<double>(newest.t - readings_[newest.same_from].t) / 1000;
}

}  // namespace fettle::watch
