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

// A list with pieces of two releases: an update that was begun somewhere and has not come to its end.
struct HalfDone {
    std::string view, other;                   // the release that the views say; the other one
    int of_view = 0, of_other = 0, total = 0;  // pieces of the list; of_view: as in its index
    int of_neither() const { return total - of_view - of_other; }
};
// Only of a list that was typed or read, and where the shelf has the index of what the views say: the release with the
// most of the pieces that are not of that one. nullopt: none has any.
std::optional<HalfDone> half_done(const std::vector<family::Release>& shelf, const change::InstalledList& found,
                                  const change::SetState& set);

// "found-half-done"; "found-mixed": a pair rule at rest does not hold between the releases that views and list tell.
Judgement judge_found(const family::Family& family, const std::vector<family::Release>& shelf,
                      const change::InstalledList& found, const change::SetState& set);

}  // namespace fettle::plan
