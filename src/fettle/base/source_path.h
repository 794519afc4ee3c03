// Tests only: where a file of the source tree lies. The one object that knows the folder's name is linked into each
// test (tests/source_path.cc), so that no other object depends on where the tree was checked out.
#pragma once

#include <string>
#include <string_view>

namespace fettle {

// The full name of `relative` in the source tree. Does not look whether it is there.
std::string source_path(std::string_view relative);

}  // namespace fettle
