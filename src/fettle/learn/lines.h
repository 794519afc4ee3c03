// From lines to text and back to a family. Internal to learn/.
#pragma once

#include "fettle/learn/learn.h"

namespace fettle::learn {

// In order of time; equal times keep the order they were made in.
std::vector<watch::Mark> in_order(const std::vector<watch::Mark>& marks);

Result<std::string> with_line(std::string_view toml, const Line& line);
// The family with every line in it, as far as that loads; an empty one when it does not.
family::Family with_all(std::string_view toml, const std::vector<Line>& lines);
// Does the line weaken what the file holds already? Saying what was unknown is no loosening of the file; taking the
// file into use is looked at by family add.
bool loosens(std::string_view toml, const family::Family& before, const Line& line);

}  // namespace fettle::learn
