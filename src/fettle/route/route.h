// Which releases to install, in which order, to get a set from where it is to where it should be: stepping stones,
// one-way doors, pair rules. Every release of the shelf is judged, and when there is no way the answer names what
// stands against it. Computes on values.
#pragma once

#include <algorithm>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::route {

struct Step {
    std::string release;
    change::SetState before, after;
    bool one_way_door = false;
    bool stepping_stone = false;
};

struct Route {
    std::vector<Step> steps;
    int doubt = 0;                 // 1: something of it is not known; 2: something stands against a step
    int irreversible = 0;          // steps past a one-way door that the target itself does not need
    double no_way_back_p90_s = 0;  // seconds, 0 when not computed
    double p90_s = 0;              // with handling
    std::string why;               // one sentence
};

struct Judged {
    std::string release;
    bool on_shelf = true;
    Judgement fits_now;      // against the set as it is now; every false condition named, and that it would go back
    bool reachable = false;  // by some route
};

struct RouteAnswer {
    std::optional<Route> recommended;
    std::vector<Route> others;            // each not beaten on every count
    std::vector<Judged> releases;         // every release that the shelf, the family file or a box names, oldest first
    std::vector<std::string> would_open;  // the smallest addition to the shelf: "shelve 26.4.102"
    std::vector<std::string> against;     // a minimal set of conditions; drop any one and a route opens
    bool against_together = false;        // no one alone would open one: only all of `against` dropped together
    bool weighed = false;                 // seconds, and those with no way back, had their say in the order
    Judgement judgement;  // incl. going back, nothing to do, one-way door needs consent, no route, no route yet
};

// More steps than this are not weighed: it takes a forecast and a power-cut map for each, some milliseconds.
inline constexpr std::size_t most_steps_weighed = 120;

// Which one-way doors the owner agreed to.
struct Consent {
    Consent(bool to_any = false) : any(to_any) {}
    explicit Consent(std::vector<std::string> to_these) : doors(std::move(to_these)) {}
    bool covers(const std::string& door) const {
        return any || std::find(doors.begin(), doors.end(), door) != doors.end();
    }

    bool any = false;
    std::vector<std::string> doors;  // releases
};

struct Goal {
    std::string release;  // or "newest": the newest known to this shelf that is reachable and older than no box
    Consent consent;
    std::string shelf_as_of;  // for the wording of "newest known to this shelf as of DATE"
    std::size_t most_weighed = most_steps_weighed;
};

// What counts of a step for the order of routes.
struct StepWeight {
    double zone_s = 0, time_s = 0;  // nine in ten: in no-way-back zones; of the step with handling
    int doubt = 0;                  // 1: something of the step is not known; 2: something stands against it
};
// May be empty: then only doubt of the rules, irreversible steps and the number of steps count, and so it is, and the
// answer says so, where the ways to the target have too many steps to choose from (Goal::most_weighed).
using StepCost = std::function<StepWeight(const family::Release&, const change::SetState& before)>;

// Seconds that are nearer than this to each other do not decide between two ways: forecasts of one step by other draws
// lie up to half a per cent apart (bench/plan_speed.cc).
inline double noise_of(double seconds) {
    return 1 + 0.01 * seconds;
}

// Pair rules compare numbers of the two versions, by the family's names for them; release is the whole version.
// Nullopt: a number is not known, or a role is not there.
std::optional<bool> pair_holds(const family::Family& family, const family::PairRule& rule, const change::SetState& set);

// With the counters that the shelf's indexes name for the releases which the boxes show.
change::SetState with_counters(const family::Family& family, const std::vector<family::Release>& shelf,
                               const change::SetState& set);

// Exact: label-setting search over non-dominated cost vectors (doubt, irreversible, zone seconds, seconds, steps); of
// those whose seconds the forecast cannot tell apart the one with the fewest steps. A way up never goes down, a way
// back never up. A release is installed on every box that it has pieces for, in one run.
RouteAnswer find_route(const family::Family& family, const std::vector<family::Release>& shelf,
                       const change::SetState& set, const Goal& goal, const StepCost& cost = {});

}  // namespace fettle::route
