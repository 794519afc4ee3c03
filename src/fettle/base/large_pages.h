// A hint to the system, and no more: memory that is looked into everywhere at once is found with fewer steps by the
// processor when its pages are large.
#pragma once

#include <cstddef>

namespace fettle {

// Nothing happens where the system has no large pages. `from` … `from` + `bytes` must be memory of this program.
void expect_anywhere(void* from, std::size_t bytes);

}  // namespace fettle
