// The invented maker's side, for rehearsals, examples and tests: packages with real digests and a real signature, made
// from a seed. Writes below the folder it is given and nowhere else. Nothing here is ever used on a customer's unit.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::standin {

// SHA-256 of a public sentence: anybody may sign with it, which is the point. Its public half stands in the example
// family file.
Bytes example_maker_seed();

struct PieceSpec {
    std::string name, box, region;
    std::uint64_t bytes = 0;
    std::string version;              // content follows from seed, box, name and version: same version, same bytes
    std::vector<std::string> issues;  // empty: all
};

struct ReleaseSpec {
    std::string release;
    std::vector<std::string> markets;
    std::string installs_from;
    std::optional<std::int64_t> counter;
    bool one_way_door = false;
    std::vector<std::string> cures;
    std::vector<PieceSpec> pieces;
};

// Writes index, signature and piece files as the family's [package] mapping says. The folder must not exist or be
// empty. Returns the release as its index tells it. bad_input when the family has no package rule or one of a form that
// the example maker does not write; outside when the disk fails.
Result<family::Release> make_package(const family::Family& family, const ReleaseSpec& spec, std::uint64_t seed,
                                     const std::filesystem::path& folder);

// The four example releases 26.1.090, 26.4.102, 27.1.110, 27.3.118: 40 pieces (39 before 27.1), of which most change
// from one to the next, some stay, one is added in 27.1, one applies to issue letters A and B only. total_bytes is the
// size of each.
std::vector<ReleaseSpec> dunnock_history(std::uint64_t total_bytes = 40ull << 20);

// Likewise 26.2.040, 26.4.088, 27.2.031 (22 pieces) and 26.3.017, 27.1.052, 27.2.064 (26 pieces), in each one piece for
// issue A only.
std::vector<ReleaseSpec> brill_history(std::uint64_t total_bytes = 24ull << 20);
std::vector<ReleaseSpec> pelm_history(std::uint64_t total_bytes = 32ull << 20);

// The history of an example family by its id, oldest first, of its usual size or another; empty: there is none.
std::vector<ReleaseSpec> example_history(const std::string& family, std::optional<std::uint64_t> total_bytes = {});

// make_package for each into folder/RELEASE.
Result<std::vector<family::Release>> make_history(const family::Family& family, const std::vector<ReleaseSpec>& specs,
                                                  std::uint64_t seed, const std::filesystem::path& folder);

// An index of that release without its files: what Fettle's shelf takes as --index-only, and what start_at() wants.
Result<family::Release> describe(const family::Family& family, const ReleaseSpec& spec, std::uint64_t seed);

}  // namespace fettle::standin
