// A whole plan as one value: route, and per step the change sheet, forecast and power-cut map. plan prints it; ready,
// watch, rehearse and the handover sheet compute with it. Pure: from values to a value.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"
#include "fettle/forecast/forecast.h"
#include "fettle/identity/identity.h"
#include "fettle/route/route.h"

namespace fettle::plan {

// What the bench book says of units with such a complaint that were brought to one release here and proved.
struct OwnOutcome {
    std::string release;
    int units = 0, came_back = 0;  // came back: a later job of the same unit has such a complaint again
};

struct PlanRequest {
    const family::Family* family = nullptr;
    change::SetState set;
    std::vector<family::Release> shelf;             // of this family
    std::string shelf_as_of;                        // date, for wording; may be empty
    std::optional<change::InstalledList> as_found;  // typed or read; absent: inferred from the shelf
    std::string to = "newest";
    route::Consent consent;  // to one-way doors
    std::string complaint;
    int cuts = 1;
    std::vector<OwnOutcome> own_outcomes;                            // of jobs with such a complaint
    std::map<std::string, std::vector<forecast::PastRun>> own_runs;  // by the release that was installed
    std::uint64_t seed = 1;
};

// "12 min", or "not known" where the forecast has no states: an unknown time is never shown as none.
std::string time_words(const forecast::Forecast& forecast, double seconds);

struct PlanStep {
    family::Release release;
    change::SetState before, after;
    change::InstalledList installed;  // before this step
    bool one_way_door = false, stepping_stone = false;
    unsigned cards = 1;  // that it takes, one after the other; 0: cannot be said
    change::ChangeSheet sheet;
    forecast::Forecast forecast;
    cutmap::CutMap map;
};

// When a person must act at the box: from when one in ten runs asks to when nine in ten have asked.
std::vector<HandsOn> hands_on(const forecast::Forecast& forecast);

// A line of the release notes along the route that has words of the complaint.
struct Cure {
    std::string release, text;
    std::vector<std::string> words;  // the complaint's words it was found by
};

// Does a text speak of the complaint, as a line of the release notes would?
bool speaks_of(const std::string& text, const std::string& complaint);

// The same over every release known of a family (its file's and the shelf's), for a complaint without a plan.
std::vector<Cure> cures_known(const family::Family& family, const std::vector<family::Release>& shelf,
                              const std::string& complaint);

struct Plan {
    std::string family, family_digest;
    std::string from, to;  // releases; from is empty when not known or when the boxes differ
    change::SetState set;
    change::InstalledList as_found;
    std::string complaint;
    std::vector<Cure> cures;
    route::RouteAnswer route;
    std::vector<PlanStep> steps;
    forecast::Quantiles total;  // of all steps, with handling between them
    bool nothing_to_do = false;
    Judgement judgement;
};

// Handling between two steps (card out, laid again, in again), until the shop has its own figure.
family::Duration usual_handling();

// The set as the plates and the view tell it; roles whose plate was not given are in it when the family is a set and
// the view speaks for all its boxes.
change::SetState set_of(const family::Family& family, const identity::Identity& identity);

Plan make_plan(const PlanRequest& request);

// One step alone, as make_plan makes it: for rehearsals and for a card that is laid without a plan.
PlanStep make_step(const family::Family& family, const family::Release& release, const change::SetState& before,
                   const change::InstalledList& installed, const std::vector<family::Release>& shelf, int cuts,
                   const std::vector<forecast::PastRun>& own_runs, std::uint64_t seed);

}  // namespace fettle::plan
