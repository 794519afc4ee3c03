// The shop's library of releases: a package is taken in, what is there is listed, one release is shown.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/shelf/shelf.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct ShelveRequest {
    std::string package;  // folder, archive, or with index_only an index file
    std::string family;   // empty: the family whose package rule finds its index and name in the package
    std::string from;     // where it came from, in words
    std::string right;    // "maker-portal", "customer-owned", "licence", "own-work", "unknown"; usage error lists them
    std::string also_seen;  // SHA-256 of the package as seen at a second source; may be empty
    bool index_only = false;
};

struct Shelving {
    std::string package, family, level;     // as it was given; the family's id and level
    shelf::Vetting vetting;                 // of a refused package: why
    std::optional<Error> refused;           // one message with every finding; nothing of it was kept
    std::optional<shelf::Outline> release;  // there unless it was refused
    bool was_there = false;                 // byte for byte; its provenance slip was added
};

// bad_input "family-not-told" when the family was not said and the package does not tell it.
Result<Shelving> shelve(const Workshop& shop, const ShelveRequest& request);

struct ShelfListRequest {
    std::string family;             // empty: all
    std::vector<std::string> fits;  // plates: only releases that have something for each of these boxes
    bool refused = false;           // what was refused instead
};

struct ShelfList {
    std::string family;     // as asked
    bool narrowed = false;  // to what is for some boxes; there was something to choose from
    Judgement unsettled;    // why it is not certain which boxes those are; then nothing is listed
    struct OfFamily {
        std::string family;
        std::vector<shelf::Outline> releases;  // oldest first by intake
        std::string newest;                    // by the family's own order; empty: that order is not known
        shelf::Shelf::AsOf as_of;
    };
    std::vector<OfFamily> families;                      // by their ids; each has a release
    std::optional<std::vector<shelf::Refusal>> refused;  // when that was asked and there is a shelf
};

// Makes no shelf where there is none: its list is empty.
Result<ShelfList> list_shelf(const Workshop& shop, const ShelfListRequest& request);

struct ReleaseRequest {
    std::string release;
    std::string family;  // may be empty when the release's name is unique
};

struct ShownRelease {
    shelf::Shelved shelved;
    shelf::Outline outline;
    Judgement judgement;  // may it be laid, and what intake said beside that
};

// bad_input "release-not-shelved", "release-ambiguous".
Result<ShownRelease> show_release(const Workshop& shop, const ReleaseRequest& request);

// The same as a CycloneDX 1.5 document, written by `program_version`. Its family's file must be known here.
Result<std::string> release_inventory(const Workshop& shop, const ReleaseRequest& request,
                                      const std::string& program_version);

// The shelf, unless there is none: a look must not make one. bad_input "release-not-shelved"; `release` is for its
// place, and may be empty.
Result<shelf::Shelf> existing_shelf(const Workshop& shop, const std::string& release);

}  // namespace fettle::workshop
