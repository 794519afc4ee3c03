// fettle reckon …: the sums behind plan and ready without a job, so that a figure can be checked by hand, or asked
// before anything is taken in. Nothing is kept.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct ReckonTimeOptions {
    std::vector<std::string> steps;  // "18:3": minutes, and their standard deviation
    double shared = 0;
};
Result<Answer> reckon_time(Context& context, const ReckonTimeOptions& options);

struct ReckonNextOptions {
    std::vector<double> minutes;  // of own runs
};
Result<Answer> reckon_next(Context& context, const ReckonNextOptions& options);

struct ReckonLeftOptions {
    double after_s = 0, seconds_a_piece = 0;
    std::string pieces, mib;  // "8/40", "80/1600"
};
Result<Answer> reckon_left(Context& context, const ReckonLeftOptions& options);

struct ReckonNeverOptions {
    std::int64_t runs = 0, seen = 0;
    double confidence = 95;
};
Result<Answer> reckon_never(Context& context, const ReckonNeverOptions& options);

struct ReckonSupplyOptions {
    std::vector<std::string> answers;  // keys of the ready check
    std::string place = "vehicle";
    double minutes = 0, minutes_90 = 0;  // 90: absent is the same
    double amps = 0, peak = 0;           // of the set; peak absent is the same
    double reserve = 0;                  // minutes
    double lowest = 0;                   // volts at the box; 0: not known
};
Result<Answer> reckon_supply(Context& context, const ReckonSupplyOptions& options);

}  // namespace fettle::app
