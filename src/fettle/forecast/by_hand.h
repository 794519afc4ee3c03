// Sums that a technician or an engineer does by hand, by the same code that the plan uses: what several steps take
// together, what is left of a step, and what a record without accidents is worth.
#pragma once

#include <cstdint>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/forecast/forecast.h"

namespace fettle::forecast {

struct NearNormal {
    double mean_s = 0, sd_s = 0;
};
// Steps whose times are near normal, drawn and summed as a plan's steps are. `correlation` in [0, 1] between any two of
// them: 0 is independent, 1 the medium's speed alone.
Quantiles total_by_draws(const std::vector<NearNormal>& steps, double correlation);

// A step under way whose pieces cost a known time each beside their bytes.
struct WorkDone {
    double elapsed_s = 0;
    int pieces = 0, pieces_in_all = 0;
    double mib = 0, mib_in_all = 0;
    double seconds_a_piece = 0;
};
struct WorkLeft {
    double mib_a_second = 0;
    double total_s = 0, left_s = 0;
    double by_pieces_s = 0, by_bytes_s = 0;  // what counting only pieces, or only bytes, would say: both wrong
};
// usage "work-not-possible" when nothing was written yet, or the pieces alone would have taken longer than has passed.
Result<WorkLeft> work_left(const WorkDone& done);

// Exact binomial bounds (Clopper and Pearson) for `seen` of `n`: the smallest upper bound, and the greatest lower one,
// on the share behind it at that one-sided confidence. 0 of n: upper 1 − (1 − confidence)^(1/n), never 0.
double upper_share(std::int64_t seen, std::int64_t n, double confidence);
double lower_share(std::int64_t seen, std::int64_t n, double confidence);

}  // namespace fettle::forecast
