// A unit is taken in: a job is opened with what its owner says and hands over.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/facts.h"
#include "fettle/base/verdict.h"
#include "fettle/plan/plan.h"
#include "fettle/workshop/keep_thing.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct TakeInRequest {
    std::string customer;  // a number or a word, never checked against anything; usage "customer-missing"
    std::string vehicle, vin, complaint;
    Place place = Place::bench;
    std::vector<std::string> plates;  // as typed
    std::optional<int> housings;      // how many came in
    std::vector<Keeping> keep;
    std::vector<std::string> consents;  // "one-way", "name on the sheet", …
    std::string by;                     // who took it in
};

// A line of a release's notes that speaks of the complaint.
struct WorthDoing {
    std::string family;
    plan::Cure cure;
};
struct TakenIn {
    std::string job;
    std::vector<Keeping> kept;  // with their ids
    bool complains = false;
    bool family_known = false;  // one of the plates is of a family known here: there are release notes to ask
    std::vector<WorthDoing> worth;
    Judgement judgement;  // of the VIN, and of plates that nobody can read
};
// bad_input "vin-impossible": it cannot be one, so nothing later could use it. Any other is kept as typed.
Result<TakenIn> take_in(const Workshop& shop, const TakeInRequest& request);

}  // namespace fettle::workshop
