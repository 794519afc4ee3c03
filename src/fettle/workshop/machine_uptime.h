// How long this machine has been running: the clock that nobody sets.
#pragma once

#include <optional>

#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// nullopt where the system does not say which start of the machine this is.
std::optional<Uptime> machine_uptime();

}  // namespace fettle::workshop
