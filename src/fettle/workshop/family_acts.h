// Family files of the shop: which are known, what one of them leaves open, and one taken into use.
#pragma once

#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/family/compare.h"
#include "fettle/family/family.h"
#include "fettle/family/signed.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct CheckedFamily {
    std::string file;
    family::Loaded loaded;  // what a broken file leaves open cannot be told from what its mistakes hide
    family::Signature signer;
};
// Every mistake by line and key, and what the file leaves open. Mistakes are an answer, no error.
Result<CheckedFamily> check_family(const std::string& file);

struct AddFamilyRequest {
    std::string file;
    std::string accept_loosening_by;  // a name; empty: nobody accepts that it allows more
};

struct AddedFamily {
    family::Family offered;
    bool was_known = false;               // a file of that family was in use
    std::vector<family::Change> changes;  // against it
    std::size_t loosened = 0;             // how many of them let through more
    std::filesystem::path in_use;         // where it stands now; empty: it was not added
    Judgement judgement;
};
// Copies a checked file into HOME/families/ID.toml, whole or not at all. One that loosens the one in use under that id
// is not added unless somebody accepts it by name; the acceptance is kept beside it in ID.accepted.jsonl.
Result<AddedFamily> add_family(const Workshop& shop, const AddFamilyRequest& request);

// --- for the acts that take family files into use ------------------------------------------------------------------

// The text of a family file; one that is far too large is an error.
Result<std::string> family_file_text(const std::filesystem::path& file);

// Writes HOME/families/ID.toml, whole or not at all, and gives its path.
Result<std::filesystem::path> put_in_use(const Workshop& shop, const std::string& id, const std::string& text);

// Who accepted that the family in use allows more than before.
struct LooseningSigned {
    std::string by;
    std::string from_sha256, to_sha256;      // the file before and after
    std::optional<std::string> signed_with;  // for a file from elsewhere: its key in hex, which may be empty
    std::vector<std::string> loosened;       // keys or entries
};
// One line more in HOME/families/ID.accepted.jsonl. Kept before the file changes: a kill between the two leaves a name
// without a change, never a change without a name.
Status keep_signed_loosening(const Workshop& shop, const std::string& id, const LooseningSigned& acceptance);

// Numbers from 1 to `last` as they are typed: "3", "2-5", "all". Usage error "line-not-there", with this problem and
// what to do, for what is none.
Result<std::set<std::size_t>> numbers_of(const std::vector<std::string>& words, std::size_t last,
                                         const std::string& problem, const std::string& next);

}  // namespace fettle::workshop
