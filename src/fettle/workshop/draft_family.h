// A first family file out of packages and labels of a family that nobody has described.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "fettle/base/next.h"
#include "fettle/contact/draft.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct DraftRequest {
    std::vector<std::string> packages, plates, views;
    std::string id;                            // small letters, digits and -; empty: one is found
    std::map<std::string, std::string> means;  // main.part2 → issue, or don't know
    std::string to;                            // a file to write, which is not there yet; empty: none
    bool add = false;                          // taken into use here as well, when no family of that id is known
};

struct Drafted {
    contact::Draft draft;
    std::string to;                // as asked
    std::filesystem::path in_use;  // empty: not taken into use
    Next next;                     // what to do with it; empty when it was neither written nor taken into use
};

// Usage errors "draft-there", "draft-id", "draft-means" (a part that no label has), "draft-known".
Result<Drafted> draft_family(const Workshop& shop, const DraftRequest& request);

}  // namespace fettle::workshop
