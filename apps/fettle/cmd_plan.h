// fettle plan.
#pragma once

#include <string>
#include <vector>

#include "context.h"
#include "fettle/cutmap/odds.h"
#include "plan_value.h"

namespace fettle::app {

struct PlanOptions {
    std::vector<std::string> plates;
    std::vector<std::string> views;  // --view
    std::string family;              // --family ID; empty: all known ones are tried
    std::string as_found;            // --as-found FILE: typed list; empty: inferred
    std::string to = "newest";       // --to R
    bool consent_one_way = false;    // --consent one-way
    std::string complaint;           // --complaint TEXT; with --job the job's when empty
    int cuts = 2;                    // --cuts K: 1 to 3
    std::string fed;                 // --fed together or apart; empty: as the family file says
    std::string promela;             // --promela FILE: each step's power-cut question as a model for SPIN
    std::string picture;             // --picture FILE: route and steps as SVG
    bool ascii = false;              // --ascii: pictures without characters beyond ASCII
    std::string offered;             // --offered FILE: what the box lists before the start; "-": typed
    double cut_rate = cutmap::usual_cuts_per_hour;  // --cut-rate R: power cuts an hour
    bool full = false;                              // --full: every piece of every change sheet
    std::vector<std::string> sure;                  // as for identify
};

// With --job and no plates, the job's plates, release and market are taken; its consent to a one-way door counts.
Result<Answer> plan(Context& context, const PlanOptions& options);

// The plan as a job's entry and as JSON "data" keep it.
NewEntry planned_entry(const Plan& plan);
boost::json::object plan_as_json(const Plan& plan);
// For people: table of steps, change sheets, forecast, map, other releases. full: every piece.
std::string plan_as_text(const Plan& plan, const family::Family& family, bool full, bool ascii = false);
std::string plan_headline(const Plan& plan);

}  // namespace fettle::app
