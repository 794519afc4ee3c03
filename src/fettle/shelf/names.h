// File names as the shelf allows them. A name in a package is somebody else's text that will stand on a card and in our
// folders: whatever could lead outside, hide, or become another name on FAT is refused here, at the shelf, and never
// reaches a card. Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/verdict.h"

namespace fettle::shelf {

// Every fault of one path ('/' between folders), each a halt with the path in `where`; empty when it is safe.
std::vector<Reason> check_path(std::string_view path);

// Two names are the same to a FAT reader when their keys are equal: NFC, then upper case by code point (not full case
// folding: by that, "straße" and "STRASSE" would clash, which they do not on FAT), trailing dots and blanks dropped.
// Stricter than any one reader: it may say "same" where some reader would not. Invalid UTF-8 is its own key.
std::string name_key(std::string_view name);

// Different spellings that FAT would take for one, over whole paths and their folders: one halt for each pair. Equal
// paths are not its business.
std::vector<Reason> check_clashes(const std::vector<std::string>& paths);

}  // namespace fettle::shelf
