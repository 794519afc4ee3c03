// The touch test of a job: the areas of each screen that later asks will want, and what a person said of them.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/ready/touch.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct TouchRequest {
    std::string job;
    // "lower right=answers", "touch.lower-right=dead", or by its number on the only grid, "1=dead". Empty: nothing is
    // kept, and what is known already is looked at.
    std::vector<std::string> said;
};
struct Touched {
    std::string job, level;
    std::vector<ready::TouchTest> screens;  // with what was said now
    bool script_known = true;               // false: nothing is known of where a touch will be asked for
    Judgement judgement;
};
// All are checked before any is kept. usage "answer-not-key-value", "touch-area-unknown", and those of
// ready::check_answer; bad_input "job-has-no-family".
Result<Touched> touch_screens(const Workshop& shop, const TouchRequest& request);

}  // namespace fettle::workshop
