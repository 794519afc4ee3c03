// What is to stand on a card: a release of the shelf, or the files of a folder that is not on it.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/card/lay.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// A release that may be laid, with its files in the order of the card.
struct ReleaseToLay {
    family::Family family;  // has a card rule; see `careful`
    family::Release release;
    std::string right;  // by what right it is on the shelf; empty for a folder
    std::vector<card::SourceFile> sources;
    unsigned card = 1, cards = 1;  // of several cards: which one the files are for
    bool careful = false;          // the family file says nothing of cards: the rule is what most readers take
    Judgement remarks;             // what is to be said of it beside that
};

// What was asked for: `release` is a release's name, or a folder (a word with a '/'). `card`: of a release over several
// cards which one; 0: not said.
struct ReleaseAsked {
    std::string release;
    std::string family;  // empty when the release's name is unique on the shelf
    unsigned card = 0;
};

// bad_input "right-unknown" for a job's card when the right to use it is not known, "index-only"; usage errors
// "card-not-named" for one over several cards unless it is said which, "folder-for-job".
Result<ReleaseToLay> release_to_lay(const Workshop& shop, const ReleaseAsked& asked, bool for_job);

// A word with a '/' names a folder, never a release.
bool names_folder(const std::string& release);

// The folder's files as they would stand on the card. With a family (named, or the only one whose index stands there),
// by that family's card rule, in the index's order and held against its digests; files that the index has not, or that
// are not as it says, are bad input. Without one: all files by name, by what most readers take. Neither is vetted, and
// `remarks` says so. Links and anything but plain files are bad input.
Result<ReleaseToLay> folder_to_lay(const Workshop& shop, const std::string& family, const std::string& folder);

// The same as a release to hold a card against: where no index names the pieces, every file of the folder is one, with
// its SHA-256 as it is now. The family has no card rule then unless its file has one.
Result<ReleaseToLay> folder_to_audit(const Workshop& shop, const std::string& family, const std::string& folder);

}  // namespace fettle::workshop
