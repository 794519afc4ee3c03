// Where a content is like the one it follows. An update changes little and keeps the order, so the two are walked side
// by side: after a difference the other content is looked for at the same distance first, then near there, and only
// after a long stretch of new bytes anywhere. zstd's own search takes every third place of the prefix into its table
// before the first byte; here only the neighbourhood of differences is taken in.
#pragma once

#define ZSTD_STATIC_LINKING_ONLY  // ZSTD_Sequence, and ZSTD_compressSequences in press.cc
#include <zstd.h>

#include <cstdint>
#include <span>
#include <vector>

#include "fettle/base/bytes.h"

namespace fettle::shelf {

// Keeps its memory from call to call. One thread at a time.
class Likeness {
public:
    // Copies in the order of `content`, to be read as zstd's sequences: `litLength` new bytes, then `matchLength` bytes
    // that stand `offset` before, counted over `prefix` followed by `content`. What follows the last is new. Each is at
    // least shortest_copy long. Both views together at most 2 GiB. The view lives until the next call.
    std::span<const ZSTD_Sequence> find(ByteView prefix, ByteView content);

    // How much of the content the last call found in the prefix.
    std::size_t from_prefix() const { return from_prefix_; }

    static constexpr std::size_t shortest_copy = 4;

private:
    std::vector<ZSTD_Sequence> copies_;
    std::vector<std::uint32_t> near_, far_;
    std::size_t from_prefix_ = 0;
};

}  // namespace fettle::shelf
