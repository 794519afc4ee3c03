// The family files known in a workshop: HOME/families/*.toml first, then the examples that came with the program.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/family/family.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// Each is loaded and checked; an unusable file is an error that names it. bad_input "no-family-files" when there is
// none.
Result<std::vector<family::Family>> load_families(const Workshop& shop);

// One of them; bad_input "family-unknown" lists the known ids when there is none of that name.
Result<family::Family> load_family_by_id(const Workshop& shop, const std::string& id);

// The same; none for an empty id.
Result<std::optional<family::Family>> family_if_named(const Workshop& shop, const std::string& id);

}  // namespace fettle::workshop
