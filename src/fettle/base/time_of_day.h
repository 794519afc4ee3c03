// What the clock on the wall of this place shows at an instant: for people who look at it; a record keeps iso8601.
#pragma once

#include <string>

#include "fettle/base/clock.h"

namespace fettle {

std::string time_of_day(UnixMs t);  // "20:47", local

}  // namespace fettle
