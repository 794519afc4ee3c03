// fettle family sign, family import: family files that travel between shops.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct FamilySignOptions {
    std::string file;
    std::string by;  // --by NAME: stands in the file
};
// Puts the shop's signature under a family file. Refused for one that may not be used, or that carries texts so long
// that they may be a maker's own words.
Result<Answer> family_sign(Context& context, const FamilySignOptions& options);

struct FamilyImportOptions {
    std::string file;
    std::vector<std::string> accept;  // --accept N, or all: of what loosens
    std::string accept_loosening_by;  // --accept-loosening-by NAME
};
// Shows who signed the file and how it differs from the one in use; takes what tightens, asks about what loosens. A
// file that was changed after it was signed is not taken. A family that is not known here is taken as it is.
Result<Answer> family_import(Context& context, const FamilyImportOptions& options);

// Names what was accepted from elsewhere, beside the file.
Status keep_import(const Context& context, const family::Family& before, const std::string& after_sha256,
                   const std::string& by, const std::string& key, const std::vector<std::string>& entries);

}  // namespace fettle::app
