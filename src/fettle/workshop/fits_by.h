// What of a plan is done by the time at which somebody wants to have the vehicle, and where it can be left off.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/clock.h"
#include "fettle/base/result.h"
#include "fettle/plan/plan.h"

namespace fettle::workshop {

struct FitsBy {  // up to and with one step of the plan
    std::string release;
    std::optional<double> p;  // that it is over and settled by then; absent: its time is not known
};
// One for each step, from now. After each the boxes are whole and at that release: it can be left off there.
std::vector<FitsBy> fits_by(const plan::Plan& plan, const family::Family& family, double seconds_s);

// "16:00" (the next one by the wall's clock) or "2026-11-25T16:00:00+00:00". usage "by-unreadable"; also when it is
// past or more than 30 days ahead.
Result<UnixMs> time_ahead(std::string_view text, UnixMs now);

}  // namespace fettle::workshop
