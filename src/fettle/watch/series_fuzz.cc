// Any readings in any order and in any portions: the series is the same, to the last bit, as the one that got all of
// them at once. Sixteen bytes a reading; its first says how many come in one portion.
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <limits>

#include "fettle/watch/series.h"

namespace {

using namespace fettle;

constexpr UnixMs kStarted = 1'700'000'000'000;
constexpr std::size_t kReading = 16, kMost = 512;

// Times within some weeks of the start; figures as a meter may give them, and some that none gives.
double figure(std::uint16_t raw) {
    if (raw == 0xFFFF) return std::numeric_limits<double>::quiet_NaN();
    if (raw == 0xFFFE) return std::numeric_limits<double>::infinity();
    return (static_cast<double>(raw) - 100) / 50;
}

SupplySample sample(const std::uint8_t* at) {
    std::uint32_t ms = 0;
    std::uint16_t volts = 0, amps = 0;
    std::memcpy(&ms, at + 1, sizeof ms);
    std::memcpy(&volts, at + 5, sizeof volts);
    std::memcpy(&amps, at + 7, sizeof amps);
    return {kStarted - 1000 + static_cast<UnixMs>(ms), figure(volts), figure(amps)};
}

bool same(const std::optional<watch::AmpsSeries::Level>& a, const std::optional<watch::AmpsSeries::Level>& b) {
    return a.has_value() == b.has_value() && (!a || (a->mean == b->mean && a->sd == b->sd));
}

void hold(bool what) {
    if (!what) std::abort();
}

void hold_equal(watch::AmpsSeries& a, watch::AmpsSeries& b, UnixMs now) {
    a.until(now);
    b.until(now);
    hold(a.empty() == b.empty() && a.left_out() == b.left_out() && a.points().size() == b.points().size());
    for (std::size_t i = 0; i < a.points().size(); ++i)
        hold(a.points()[i].at_s == b.points()[i].at_s && a.points()[i].value == b.points()[i].value);
    hold(a.same_for_s() == b.same_for_s());
    for (const double seconds : {1.0, 60.0, 1e6}) hold(same(a.lately(seconds), b.lately(seconds)));
    std::optional<long> s = a.next(0);
    hold(s == b.next(0));
    for (int i = 0; s && i < 64; ++i) {
        hold(a.at(*s) && a.at(*s) == b.at(*s) && a.weight(*s) == b.weight(*s));
        hold(a.weight(*s) > 0 && a.weight(*s) <= 1);
        const auto after = a.next(*s + 1);
        hold(after == b.next(*s + 1) && (!after || *after > *s));
        s = after;
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    std::vector<SupplySample> all;
    std::vector<std::size_t> portions;
    for (std::size_t at = 0; at + kReading <= size && all.size() < kMost; at += kReading) {
        all.push_back(sample(data + at));
        portions.push_back(1 + data[at] % 8);
    }
    watch::AmpsSeries at_once(kStarted), in_portions(kStarted), backwards(kStarted);
    at_once.add(all);
    for (std::size_t i = 0, p = 0; i < all.size(); i += portions[p], ++p) {
        const std::size_t n = std::min(portions[p], all.size() - i);
        in_portions.add(std::span(all).subspan(i, n));
        in_portions.until(all[i].t);  // looked at in between, as a watch does
    }
    for (std::size_t i = all.size(); i > 0; --i) backwards.add(std::span(all).subspan(i - 1, 1));
    for (const UnixMs now : {kStarted - 1, kStarted + 60'000, kStarted + 10'000'000'000}) {
        hold_equal(at_once, in_portions, now);
        hold_equal(at_once, backwards, now);
    }
    return 0;
}
