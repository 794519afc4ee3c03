// The section [package] of a draft. Internal to contact/.
#pragma once

#include <string>
#include <vector>

#include "fettle/contact/draft.h"

namespace fettle::contact {

struct PackageDraft {
    std::string toml;      // the section, or remarks that say why there is none
    bool read = false;     // the section is there, and every package's index was read by it
    bool refused = false;  // digests do not hold: the shelf will not take it
    std::vector<std::string> found, unknown;
};

// `head` is the rest of the file, which the section is tried with; role is the box that pieces are put to.
PackageDraft draft_package(const DraftInput& input, const std::string& head, const std::string& id,
                           const std::string& role);

std::string remark(std::string_view text);  // one line "# …\n", nothing unseen in it

}  // namespace fettle::contact
