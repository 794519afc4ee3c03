// A plan as pictures: the route as a graph of releases, and each step on the paper of the run strip.
#pragma once

#include <string>
#include <vector>

#include "fettle/plan/plan.h"

namespace fettle::show {

// The known releases, newest first, with a lane for the recommended way and one for each of the others that fits.
std::vector<std::string> route_graph(const plan::Plan& plan, bool ascii = false);

// Forecast and map of a step on one time axis, as the run strip shows them before the start.
std::vector<std::string> step_strip(const plan::PlanStep& step, const family::Family& family, bool ascii = false);

// Both, one below the other, as one self-contained SVG: black on white, readable in grey.
std::string plan_as_svg(const plan::Plan& plan, const family::Family& family);

}  // namespace fettle::show
