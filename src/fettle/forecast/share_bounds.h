// What a record of n cases is worth: exact binomial bounds (Clopper and Pearson) on the share behind `seen` of `n`,
// each at that one-sided confidence. None seen in n is never "0 %": the upper bound is then 1 − (1 − confidence)^(1/n).
#pragma once

#include <cstdint>

namespace fettle::forecast {

double upper_share(std::int64_t seen, std::int64_t n, double confidence);  // the smallest; 1 when n is 0
double lower_share(std::int64_t seen, std::int64_t n, double confidence);  // the greatest; 0 when n is 0

}  // namespace fettle::forecast
