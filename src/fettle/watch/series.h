// The measured current as the watch uses it: one mean for each second of the run. Readings that are no numbers, lie
// before the start or after now, are left out; those of one second are averaged. The order in which they come does not
// matter, and taking the next one costs the same however many there are.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "fettle/base/supply_sample.h"
#include "fettle/watch/cusum.h"

namespace fettle::watch {

inline constexpr double most_A = 1000;  // no head unit draws more: such a reading is none

class AmpsSeries {
public:
    explicit AmpsSeries(UnixMs started) : started_(started) {}

    // More readings. The first second that is no longer what it was; nullopt: none of them is a reading.
    std::optional<long> add(std::span<const SupplySample> samples);
    // What lies after it does not count for the functions below the line.
    void until(UnixMs now);

    // Of second s, readings in (s − 1, s]; nullopt when there is none.
    std::optional<double> at(long s) const;
    double weight(long s) const;             // how much of an independent reading it is worth, in (0, 1]
    std::optional<long> next(long s) const;  // the first second from s on that has a reading
    // ----
    bool empty() const { return counted_ == 0; }
    // In order of time, on the run's axis. Valid until the next add().
    std::span<const SeriesPoint> points() const { return std::span(points_).first(counted_); }
    // Mean and spread of the last `seconds` before now; nullopt with fewer than five seconds measured in them.
    struct Level {
        double mean = 0, sd = 0;
    };
    std::optional<Level> lately(double seconds) const;
    // How long the newest readings, at least twenty, have been the very same volts and amperes; else 0.
    double same_for_s() const;
    int left_out() const { return no_readings_ + static_cast<int>(readings_.size() - counted_); }

private:
    struct Reading {
        UnixMs t = 0;
        double amps = 0;
        std::optional<double> volts;
        std::size_t same_from = 0;  // the first of the unbroken row of the very same figures that this one ends
    };
    std::size_t first_in(long s) const;  // index of the first reading of second s, or of a later one
    long second_of(const Reading& r) const { return static_cast<long>((r.t - started_ + 999) / 1000); }
    double mean(std::size_t from, std::size_t to) const;

    UnixMs started_;
    long now_s_ = 0;
    std::vector<Reading> readings_;  // in order of time
    std::vector<SeriesPoint> points_;
    std::size_t counted_ = 0;  // of them, up to now
    int no_readings_ = 0;
};

}  // namespace fettle::watch
