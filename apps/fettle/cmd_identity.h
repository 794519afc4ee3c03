// fettle identify, fettle vin.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "context.h"
#include "fettle/identity/identity.h"

namespace fettle::app {

struct IdentifyOptions {
    std::vector<std::string> plates;
    std::vector<std::string> views;  // --view
    std::string family;              // --family ID; empty: all known ones are tried
    // --sure N or LABEL.N: character N (from 1) of a label was looked at again and is as typed. LABEL is "plate",
    // plate2, "view", view2; without it the first plate.
    std::vector<std::string> sure;
    bool photo = false;           // --photo: the texts were read off a photo
    std::optional<int> housings;  // --housings N: labelled housings handed over
};

Result<Answer> identify(Context& context, const IdentifyOptions& options);

// What plan and job open need of the same reading: the identity and the family it is of. The family is absent when it
// is not known; the judgement says why.
struct IdentifiedUnit {
    identity::Identity identity;
    std::optional<family::Family> family;
};
Result<IdentifiedUnit> identify_unit(const Context& context, const IdentifyOptions& options);

// Data as `identify --json` shows it and as an `identified` entry keeps it.
boost::json::object identity_as_json(const identity::Identity& identity, const family::Family* family);

struct VinOptions {
    std::string vin;
    bool rule_applies = false;  // --us-market: made for a market of 49 CFR 565
};

Result<Answer> vin(Context& context, const VinOptions& options);

}  // namespace fettle::app
