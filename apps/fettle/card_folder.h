// A card from a folder that is not on the shelf.
#pragma once

#include <string>

#include "cmd_card.h"

namespace fettle::app {

// A word with a '/' names a folder, never a release.
bool names_folder(const std::string& release);

// The folder's files as they would stand on the card. With a family (named, or the only one whose index stands there),
// by that family's card rule, in the index's order and held against its digests; files that the index has not, or that
// are not as it says, are bad input. Without one: all files by name, by what most readers take. Neither is vetted, and
// `remarks` says so. Links and anything but plain files are bad input.
Result<ReleaseToLay> folder_to_lay(Context& context, const std::string& family_id, const std::string& folder);

// The same as a release to hold a card against: where no index names the pieces, every file of the folder is one, with its
// SHA-256 as it is now.
Result<ReleaseToLay> folder_to_audit(Context& context, const std::string& family_id, const std::string& folder);

}  // namespace fettle::app
