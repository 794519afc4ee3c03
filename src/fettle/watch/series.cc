#include "fettle/watch/series.h"

#include <algorithm>
#include <cmath>

namespace fettle::watch {
namespace {

constexpr double kIndependent_s = 10;  // readings of a working box nearer together than that tell much the same (guess)

}  // namespace

AmpsSeries::AmpsSeries(const Observed& seen, UnixMs now) {
    now_ = static_cast<long>(std::max<UnixMs>(0, now - seen.started) / 1000);
    std::vector<const SupplySample*> newest;
    for (const SupplySample& s : seen.supply) {
        if (!s.has_amps() || s.amps > most_A || s.t < seen.started || s.t > now) {
            ++left_out_;
            continue;
        }
        Second& second = by_second_[static_cast<long>((s.t - seen.started + 999) / 1000)];
        second.sum += s.amps;
        ++second.n;
        newest.push_back(&s);
    }
    std::sort(newest.begin(), newest.end(), [](const SupplySample* a, const SupplySample* b) { return a->t > b->t; });
    std::size_t same = 0;
    while (same < newest.size() && newest[same]->amps == newest[0]->amps &&
           (newest[same]->volts == newest[0]->volts || (!newest[same]->has_volts() && !newest[0]->has_volts())))
        ++same;
    if (same >= 20) same_for_s_ = static_cast<double>(newest[0]->t - newest[same - 1]->t) / 1000;
}

std::optional<double> AmpsSeries::at(long s) const {
    const auto it = by_second_.find(s);
    if (it == by_second_.end()) return std::nullopt;
    return it->second.sum / it->second.n;
}

double AmpsSeries::weight(long s) const {
    const auto it = by_second_.find(s);
    if (it == by_second_.end() || it == by_second_.begin()) return 1;
    return std::min(1.0, static_cast<double>(s - std::prev(it)->first) / kIndependent_s);
}

std::vector<SeriesPoint> AmpsSeries::points() const {
    std::vector<SeriesPoint> out;
    for (const auto& [s, x] : by_second_) out.push_back({static_cast<double>(s), x.sum / x.n});
    return out;
}

std::optional<AmpsSeries::Level> AmpsSeries::lately(double seconds) const {
    double sum = 0, squares = 0;
    int n = 0;
    for (auto it = by_second_.lower_bound(now_ - static_cast<long>(seconds) + 1);
         it != by_second_.end() && it->first <= now_ + 1; ++it) {
        const double x = it->second.sum / it->second.n;
        sum += x;
        squares += x * x;
        ++n;
    }
    if (n < 5) return std::nullopt;
    Level out;
    out.mean = sum / n;
    out.sd = std::sqrt(std::max(0.0, squares / n - out.mean * out.mean));
    return out;
}

}  // namespace fettle::watch
