// The measured current as the watch uses it: one mean for each second of the run. Readings that are no numbers, lie
// before the start or after now, or come twice, are left out or averaged; their order does not matter.
#pragma once

#include <map>
#include <vector>

#include "fettle/watch/cusum.h"
#include "fettle/watch/tracker.h"

namespace fettle::watch {

inline constexpr double most_A = 1000;  // no head unit draws more: such a reading is none

class AmpsSeries {
public:
    AmpsSeries(const Observed& seen, UnixMs now);
    bool empty() const { return by_second_.empty(); }
    // Of second s (readings in (s − 1, s]); nullopt when there is none.
    std::optional<double> at(long s) const;
    double weight(long s) const;  // how much of an independent reading it is worth, in (0, 1]
    std::vector<SeriesPoint> points() const;
    // Mean and spread of the last `seconds` before now; nullopt with fewer than five seconds measured in them.
    struct Level {
        double mean = 0, sd = 0;
    };
    std::optional<Level> lately(double seconds) const;
    // How long the newest readings, at least twenty, have been the very same volts and amperes; else 0.
    double same_for_s() const { return same_for_s_; }
    int left_out() const { return left_out_; }

private:
    struct Second {
        double sum = 0;
        int n = 0;
    };
    std::map<long, Second> by_second_;
    long now_ = 0;
    int left_out_ = 0;
    double same_for_s_ = 0;
};

}  // namespace fettle::watch
