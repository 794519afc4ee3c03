// What the shelf has of one family, for a plan.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "fettle/family/release.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct ShelfView {
    std::vector<family::Release> releases;
    std::map<std::string, bool> right_known;  // release → its slip names a right of use
    std::string as_of;                        // date of the newest, for wording; may be empty
};

// A workshop without a shelf has an empty one: planning makes nothing.
Result<ShelfView> shelf_view(const Workshop& shop, const std::string& family);

}  // namespace fettle::workshop
