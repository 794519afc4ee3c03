// What one does with what is on the shelf: compare, verify, restore, remove, tidy. Each is bad_input
// "release-not-shelved" where there is no shelf.
#pragma once

#include <string>

#include "fettle/shelf/shelf.h"
#include "fettle/workshop/shelf_acts.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct CompareRequest {
    std::string before, after;
    std::string family;  // may be empty when both names are unique
};
Result<shelf::Compared> compare_releases(const Workshop& shop, const CompareRequest& request);

// An empty release: all of them.
Result<shelf::Verified> verify_shelf(const Workshop& shop, const ReleaseRequest& request);

struct RestoreRequest {
    std::string release, folder, family;
};
Result<shelf::Restored> restore_release(const Workshop& shop, const RestoreRequest& request);

struct Removed {
    std::string family, release;
};
Result<Removed> remove_release(const Workshop& shop, const ReleaseRequest& request);

Result<shelf::Tidied> tidy_shelf(const Workshop& shop);

}  // namespace fettle::workshop
