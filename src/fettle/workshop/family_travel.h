// Family files that travel between shops: signed, and taken in from elsewhere.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/family/family.h"
#include "fettle/family/merge.h"
#include "fettle/family/signed.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct SignFamilyRequest {
    std::string file;
    std::string by;  // stands in the file; usage error "sign-without-name" when it is blank
};

struct SignedFamily {
    std::string file, by, level;
    std::vector<std::string> long_texts;  // may be a maker's own words; then it was not signed
    std::string public_key, fingerprint;  // hex, and for people
    bool key_made_now = false;
    Judgement judgement;

    bool is_signed() const { return long_texts.empty(); }
};
// Puts the shop's signature under a family file. Refused for one that may not be used.
Result<SignedFamily> sign_family(const Workshop& shop, const SignFamilyRequest& request);

struct ImportFamilyRequest {
    std::string file;
    std::vector<std::string> accept;  // of what loosens: numbers, or "all"
    std::string accept_loosening_by;  // usage error "accept-without-name" when something is accepted without one
};

struct ImportedFamily {
    std::string file, id, level;
    family::Signature signer;
    std::string fingerprint;  // of the signer's key; empty without a signature
    std::string known_as;     // under what name that key is known here; empty: it is not
    bool was_known = false;   // a file of that family was in use here
    std::vector<family::Difference> differences;
    std::set<std::size_t> taken;  // of the differences, from 0
    bool written = false;         // the file in use is another now
    Judgement judgement;
};
// Takes what tightens, and of what loosens only what somebody accepted. A file that was changed after it was signed is
// not taken. A family that is not known here is taken as it is.
Result<ImportedFamily> import_family(const Workshop& shop, const ImportFamilyRequest& request);

}  // namespace fettle::workshop
