// Vetting, the part that computes: names against FAT, index against family, index against files, content against
// digests. Pure; all findings of each kind in one pass. What reads and what refuses is intake.h.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"
#include "fettle/shelf/package.h"

namespace fettle::shelf {

// Names, kinds and doubles of what is in the package, before anything of it is opened. `index` and `signature`: paths
// of the family's package rule, for telling "one folder too deep" and "archive unopened" from plainly missing.
Judgement vet_members(const std::vector<Member>& members, const std::string& index);

// What the index claims against the family: right family, known markets, a version of the family's form, safe and
// single paths, digests that hold against intent. (Boxes and regions were held against the family when the index was
// read.) Mind for what may be, halt for what must not be.
Judgement vet_claims(const family::Family& family, const family::Release& release);

// Its place among other releases, its counter and its issue letters, against the family file.
Judgement vet_order(const family::Family& family, const family::Release& release);

// Against the releases of the family that are on the shelf already: an older one is a mind, so that it is not taken for
// the newest.
Judgement vet_against_shelf(const family::Family& family, const family::Release& release,
                            const std::vector<std::string>& shelved);

// Index against files is a bijection: missing, surplus, other size (as the package claims it).
Judgement vet_files(const family::Family& family, const family::Release& release, const std::vector<Member>& members);

// What was found of one listed file when it was read.
struct Content {
    std::uint64_t size = 0;
    bool longer = false;                         // it went on past the size that the index gives; reading stopped there
    std::map<std::string, std::string> digests;  // those the index gives
};
Judgement vet_content(const family::PieceFile& listed, const Content& content);

// Files of the index by path; a path that two pieces share stands once.
std::map<std::string, family::PieceFile> listed_files(const family::Release& release);

}  // namespace fettle::shelf
