// A plan as a technician reads it, and as programs do.
#pragma once

#include <boost/json/object.hpp>
#include <string>

#include "fettle/cutmap/odds.h"
#include "fettle/family/family.h"
#include "fettle/plan/plan.h"
#include "fettle/show/answer.h"
#include "fettle/workshop/fits_by.h"
#include "fettle/workshop/plan_job.h"

namespace fettle::show {

std::string plan_headline(const plan::Plan& plan);
// Table of steps, change sheets, forecast, map, other releases. full: every piece of every change sheet.
std::string plan_as_text(const plan::Plan& plan, const family::Family& family, bool full, bool ascii = false);
boost::json::object plan_as_json(const plan::Plan& plan);

struct PlanStyle {
    bool full = false;                                   // every piece of every change sheet
    bool ascii = false;                                  // drawings without characters beyond ASCII
    double cuts_per_hour = cutmap::usual_cuts_per_hour;  // for the odds
};
// The whole answer: identity, plan, odds, and what the box offers.
Answer planned(const workshop::Planned& planned, const PlanStyle& style);

// What of it fits until then.
void add_fits(UnixMs by, const std::vector<workshop::FitsBy>& fits, Answer& answer);

}  // namespace fettle::show
