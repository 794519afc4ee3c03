// Which of the jobs that wait for a run on which bench, and in which order: watch::bench_order over the forecasts of
// their plans.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/watch/bench_order.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct OrderRequest {
    std::vector<std::string> jobs;  // empty: every job of the book that has a step to run and no run under way
    int benches = 2;
    double certainty = 0.8;  // that all are done by the end that is told
    double hands_s = 180;    // a person is taken up for so long by an ask
};

struct Ordered {
    UnixMs at = 0;
    int benches = 0;
    double certainty = 0;
    std::vector<watch::BenchJob> jobs;
    watch::BenchOrder order;
    Judgement judgement;  // "job-not-ordered" for each that was left out
};
// Every step that is still to be run counts, and handling before each. usage "benches-range", "certainty-range", "hands-range"; those
// of a job that was named.
Result<Ordered> order_jobs(const Workshop& shop, const OrderRequest& request);

}  // namespace fettle::workshop
