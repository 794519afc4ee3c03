#include "fettle/base/large_pages.h"

#include <sys/mman.h>

#include <cstdint>

namespace fettle {

void expect_anywhere(void* from, std::size_t bytes) {
    constexpr std::uintptr_t page = 4096;
    const auto at = (reinterpret_cast<std::uintptr_t>(from) + page - 1) & ~(page - 1);
    const auto end = reinterpret_cast<std::uintptr_t>(from) + bytes;
    if (end > at + page) madvise(reinterpret_cast<void*>(at), end - at, MADV_HUGEPAGE);
}

}  // namespace fettle
