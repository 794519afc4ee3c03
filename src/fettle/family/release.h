// A release as its package's index tells it, read by the family file's mapping. A value: says what the maker claims and
// nothing about whether it fits or is whole (that is `shelf` and `change`).
#pragma once

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::family {

struct PieceFile {
    std::string path;  // in the package and on the card, '/' between folders
    std::uint64_t size = 0;
    std::map<std::string, std::string> digests;  // "sha256" → lower-case hex; at least one, or the index has none
    bool sized = true;  // false: the index gives no sizes; `size` is 0 until somebody has seen the file: see fill_sizes
};

struct Piece {
    std::string name;  // unique within its box
    std::string box;   // role
    std::string region;
    std::string version;
    std::vector<PieceFile> files;
    std::vector<std::string> issues;  // issue letters of the box's plate that it applies to; empty: all

    std::uint64_t bytes() const;
};

struct Release {
    std::string family;
    std::string release;
    std::vector<std::string> markets;     // empty: the index does not say
    std::string installs_from;            // earliest release it installs on; empty: the index does not say
    std::optional<std::int64_t> counter;  // rollback counter it leaves; a box with a higher one refuses it
    bool one_way_door = false;            // the index says that there is no way back from it
    std::vector<std::string> cures;       // release notes: what the maker says it puts right
    std::vector<Piece> pieces;
    std::string index_path;
    std::string index_sha256;  // over the index's bytes

    std::uint64_t bytes() const;
    const Piece* piece(std::string_view box, std::string_view name) const;
};

// Reads an index. On success the release is complete as far as the mapping reaches; on failure every fault is named
// with its place (JSON pointer, line), all in one pass, joined in Error::problem. Hostile input is bounded by the
// caller's size limit and by 200,000 values; sizes and counts are range-checked. Does not check paths for safety: that
// is the shelf's vetting.
Result<Release> read_index(const Family& family, std::string_view text);

// The family that an index names; empty when it names none or cannot be read by this rule. Looks only: for finding out
// which family file to read it by.
std::string family_named_in(const PackageRule& rule, std::string_view text);

// Gives files whose index does not say a size the one that was seen: size_of(path), nullopt where there is no such
// file.
void fill_sizes(Release& release, const std::function<std::optional<std::uint64_t>(const std::string&)>& size_of);

}  // namespace fettle::family
