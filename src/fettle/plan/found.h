// What was found, before any step: do the boxes go together as they stand? Inside the room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/family/family.h"

namespace fettle::plan {

// The one release of the shelf that has exactly the versions which a typed or read list names for that box.
std::optional<std::string> release_by_list(const std::vector<family::Release>& shelf,
                                           const change::InstalledList& found, const change::SetState& set,
                                           const std::string& role);

// "found-mixed": a pair rule at rest does not hold between the releases that views and list tell.
Judgement judge_found(const family::Family& family, const std::vector<family::Release>& shelf,
                      const change::InstalledList& found, const change::SetState& set);

}  // namespace fettle::plan
