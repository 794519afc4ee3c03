// How honest past forecasts were: every promise of the book that came due.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct Promises {
    std::int64_t made = 0, kept = 0;
    double loss_s = 0;         // pinball loss of the 90 % point, mean of each
    double low = 0, high = 1;  // of the share that is kept: Clopper-Pearson, 95 % two-sided
};
struct PromisesOf {
    std::string step;  // "dunnock to 27.3.118"
    Promises promises;
};
struct PromisesScored {
    Promises all;
    std::vector<PromisesOf> steps;  // in the order of their names
    Judgement judgement;            // is what was said to hold in nine of ten contradicted?
};
// Of this family; empty: of all.
Result<PromisesScored> score_promises(const Workshop& shop, const std::string& family);

}  // namespace fettle::workshop
