// Which boxes are these? Labels and version views as they were given, against the family files known here.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/family/family.h"
#include "fettle/identity/identity.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct IdentifyRequest {
    std::vector<std::string> plates;
    std::vector<std::string> views;
    std::string family;  // its id; empty: all known ones are tried
    // N or LABEL.N: character N (from 1) of a label was looked at again and is as typed. LABEL is "plate", plate2,
    // "view", view2; without it the first plate. Usage error "sure-form".
    std::vector<std::string> sure;
    bool photo = false;           // the texts were read off a photo
    std::optional<int> housings;  // labelled housings handed over; usage error "housings-form" below 1
    std::string job;              // what was found is kept there; its plates stand in for none given. Empty: no job
};

// The family is absent when it is not known; the identity's judgement says why.
struct Identified {
    identity::Identity identity;
    std::optional<family::Family> family;

    const family::Family* known_family() const { return family ? &*family : nullptr; }
};

Result<Identified> identify(const Workshop& shop, const IdentifyRequest& request);

// The same reading for another act: nothing is kept, and `job` counts for nothing.
Result<Identified> identified(const Workshop& shop, const IdentifyRequest& request);

}  // namespace fettle::workshop
