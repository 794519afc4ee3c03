// Inside the stand-in only: the example maker writes an index of any form that a family file can describe, by the
// family's own mapping turned round. The reader of these forms is `family`; nothing of it is used here.
#pragma once

#include <map>
#include <string>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/standin/maker.h"

namespace fettle::standin {

// Where a piece's file stands in the package. In a digest list the path says what the piece is:
// "region/name_version.bin", with "@A" before the dot for the one issue letter that it is for.
std::string path_of(const family::PackageRule& rule, const PieceSpec& piece);

// digests: path → digest in hex, by the algorithm that the family's mapping names (SHA-256 for all example families).
std::string index_text(const family::Family& family, const ReleaseSpec& spec,
                       const std::map<std::string, std::string>& digests);

// The example maker's signature over an index, by the family's rule; empty: that maker signs nothing.
Bytes index_signature(const family::PackageRule& rule, std::string_view index);

// bad_input "no-package-rule" when the family's packages cannot be made by these means.
Status can_be_made(const family::Family& family);

}  // namespace fettle::standin
