// The shelf: the shop's library of releases. Vets a package against its index and signature, keeps its pieces by digest
// with a provenance slip, and gives them back. Touches disk and the catalogue; never decides whether a release fits a
// box.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/clock.h"
#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"
#include "fettle/family/signature.h"

namespace fettle::shelf {

class Disk;     // disk.h: what a test may put under the store
class Package;  // package.h

// By what right a package is here. "unknown" can be looked at but not laid for a job.
enum class Right { maker_portal, customer_owned, licence, own_work, unknown };
std::string_view words(Right r);
Result<Right> right_from(std::string_view word);  // "maker-portal", …; usage error lists the words

// What to do about a release that is not on the shelf.
Next add_its_package();

// Where a package came from: asked at intake, never guessed. A release keeps every slip it was brought with.
struct ProvenanceSlip {
    std::string from;  // free text: who or where
    Right right = Right::unknown;
    std::string also_seen_sha256;  // digest of the package seen at a second source; empty if none
    UnixMs at = 0;
    std::string source_path;     // as given
    std::string package_sha256;  // over the archive's bytes; for a folder over its sorted "digest  path" lines
    std::string content_sha256;  // over such lines in both cases: what restore() is held against
};

using family::SignatureState;  // absent: whole, origin not proven

std::string_view words(SignatureState s);  // "good", "bad", "absent"

// What vetting found: every finding in one pass. A verdict of halt means refused.
struct Vetting {
    Judgement judgement;
    SignatureState signature = SignatureState::absent;
    std::uint64_t files = 0, bytes = 0;  // index, signature and pieces that were found; their size
};

// A release on the shelf.
struct Shelved {
    std::string family;
    family::Release release;
    ProvenanceSlip slip;  // the latest whose right is known, else the latest
    SignatureState signature = SignatureState::absent;
    bool index_only = false;  // files are gone; serves as-found inference only
    UnixMs added_at = 0;
    Judgement vetted;  // what intake found and let pass (mind, can't say)

    // May its pieces go to a customer's card? Not without a right, nor without files; the judgement says why not.
    Judgement may_be_laid() const;
};

// A release in short: all that a listing says, without its pieces. Costs the same whatever a release holds.
struct Outline {
    std::int64_t id = 0;  // the catalogue's
    std::string family;
    family::Release release;  // without pieces
    std::uint64_t pieces = 0, bytes = 0;
    std::map<std::string, std::set<std::string>> issues;  // role → issue letters its pieces apply to; "": to all
    ProvenanceSlip slip;
    SignatureState signature = SignatureState::absent;
    bool index_only = false;
    UnixMs added_at = 0;
    UnixMs verified_at = 0;  // 0: not since it was added
    bool verified_good = false;

    // Has it a piece for that box? Empty issue: for some issue of it.
    bool for_box(std::string_view role, std::string_view issue) const;
};

// A package that was refused. Kept in the catalogue, so that the same package is not tried for ever; its bytes are not.
struct Refusal {
    UnixMs at = 0;
    std::string family, source_path, from;
    std::vector<std::string> codes;
};

struct AddRequest {
    std::filesystem::path package;  // folder or archive
    ProvenanceSlip slip;            // from, right, also_seen; the rest is filled in
    bool index_only = false;
    std::shared_ptr<Package> opened;  // the package, if it is open already (open_for); else it is opened
};

struct Added {
    Vetting vetting;
    Shelved shelved;
    bool was_there = false;  // the same bytes were on the shelf already; only the provenance slip was added
};

// What differs between two releases, file by file.
enum class Difference { added, changed, gone, equal, unknown };  // unknown: no digest that both have
std::string_view words(Difference d);
struct Compared {
    struct File {
        Difference difference = Difference::equal;
        std::string box, piece;     // empty: the index or its signature
        std::string before, after;  // paths
        std::uint64_t bytes_before = 0, bytes_after = 0;
    };
    std::vector<File> files;  // by box, piece, path; files that are equal too
};

struct Verified {
    std::uint64_t releases = 0, files = 0, contents = 0, bytes = 0;  // bytes: of the contents, each read once
    struct Damage {
        std::string family, release, path;
        std::string code;  // "object-missing", "object-damaged", or "object-rests-on-damaged": its own bytes are whole
        std::string rests_on;  // for the last: what is damaged below it, as "family release path", or "a removed piece"
    };
    std::vector<Damage> damage;
};

struct Tidied {
    std::uint64_t bytes_before = 0, bytes_after = 0;  // of all packs
    std::uint64_t parts_moved = 0, parts_rebuilt = 0;
};

struct Restored {
    std::uint64_t files = 0, bytes = 0;
    std::string content_sha256;  // over the lines "digest  path", sorted by path; equal to what intake recorded
};

using Progress = std::function<void(const char* what, std::uint64_t done, std::uint64_t total)>;

class Shelf {
public:
    // Opens or makes the shelf below `folder`. One that was made by this opening and stays empty is taken away again on
    // destruction, with the folders made for it. outside_error when it cannot be made or its catalogue is damaged.
    // outside_error "shelf-old-layout" for one made before there were packs. `disk`: for tests; must outlive the shelf.
    static Result<Shelf> open(const std::filesystem::path& folder, Disk* disk = nullptr);
    Shelf(Shelf&&) noexcept;
    Shelf& operator=(Shelf&&) noexcept;
    ~Shelf();

    // Vets and shelves. A refusal is an Error of kind bad_input whose problem lists every finding; `refusal` (if given)
    // receives the vetting. Nothing is left behind by a refusal, an error or a kill at any instant.
    Result<Added> add(const family::Family& family, const AddRequest& request, const Clock& clock,
                      const Progress& progress = {}, Vetting* refusal = nullptr);

    // All releases of a family ("" = all), oldest first by intake. No order of versions: that is the family file's.
    Result<std::vector<Shelved>> list(std::string_view family = {}) const;

    // One by its release name; bad_input names what is there. `family` may be empty when the name is unique.
    Result<Shelved> find(std::string_view family, std::string_view release) const;

    // The bytes of one piece file of a shelved release, streamed in order to `sink` (which may stop by returning an
    // error); bad_input when the release is index-only, outside_error when the stored object is missing or damaged. The
    // object's digest is computed on the way and compared at the end.
    Status read(std::string_view family, std::string_view release, std::string_view path,
                const std::function<Status(ByteView)>& sink) const;

    // As read(), for a caller who computes the SHA-256 of what it gets and holds it against files(): this does not.
    // Accidents (a damaged record) are still found here.
    Status read_for_digest(std::string_view family, std::string_view release, std::string_view path,
                           const std::function<Status(ByteView)>& sink) const;

    // Every file of the package in the order of the card: index, signature, then the pieces in index order.
    Result<std::vector<family::PieceFile>> files(std::string_view family, std::string_view release) const;

    // Oldest and newest intake time and the number of different sources; for "newest known to this shelf as of".
    struct AsOf {
        UnixMs newest = 0;
        int sources = 0;
    };
    Result<AsOf> as_of(std::string_view family) const;

    // All releases in short, oldest first by intake; and what was refused.
    Result<std::vector<Outline>> outlines(std::string_view family = {}) const;
    Result<std::vector<Refusal>> refusals() const;

    // bad_input when one of them is not there. An index-only release is compared by what its index says.
    Result<Compared> compare(std::string_view family, std::string_view before, std::string_view after) const;

    // Reads every stored byte of one release ("" = all) and compares digests; says exactly what is damaged, and notes
    // in the catalogue when that was and how it came out. Damage is an answer, not an error.
    Result<Verified> verify(std::string_view family, std::string_view release, const Clock& clock,
                            const Progress& progress = {});

    // Forgets a release. Its bytes stay until tidy(): others may rest on them.
    Status remove(std::string_view family, std::string_view release);

    // Gives back the space of what no release needs: parts of living releases are copied to new packs, those that rest
    // on dead ones are built again. outside_error "shelf-in-use" while an intake runs. A kill leaves all as it was.
    Result<Tidied> tidy(const Progress& progress = {});

    // Writes the release's files with their names below a folder, which must be new or empty. Every digest is compared.
    // bad_input "restore-target" when the folder holds something; what was written goes again on any error.
    Result<Restored> restore(std::string_view family, std::string_view release, const std::filesystem::path& folder,
                             const Progress& progress = {}) const;

private:
    friend struct ShelfParts;
    struct State;
    explicit Shelf(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

// The package, opened for being looked at by named_families() and then taken in, without being gone through again.
// Errors as open_package().
Result<std::shared_ptr<Package>> open_for(const std::vector<family::Family>& families,
                                          const std::filesystem::path& package);

// Which of these families the package may be for: the one whose index stands in it; of several, those whose maker's
// signature holds; only where no signature can tell, those that the index names. Empty when that is none. Looks only,
// judges nothing: for asking less at intake. now: for the dates of certificates.
std::vector<std::string> named_families(const std::vector<family::Family>& families, Package& package, UnixMs now);
// The same of an index alone: the path of the index, or of the folder it is in.
std::vector<std::string> families_of_index(const std::vector<family::Family>& families,
                                           const std::filesystem::path& index, UnixMs now);

}  // namespace fettle::shelf
