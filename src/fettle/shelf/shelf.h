// The shelf: the shop's library of releases. Vets a package against its index and signature, keeps its pieces by digest
// with a provenance slip, and gives them back. Touches disk and the catalogue; never decides whether a release fits a
// box.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
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

// By what right a package is here. "unknown" can be looked at but not laid for a job.
enum class Right { maker_portal, customer_owned, licence, own_work, unknown };
std::string_view words(Right r);
Result<Right> right_from(std::string_view word);  // "maker-portal", …; usage error lists the words

// Where a package came from: asked at intake, never guessed. A release keeps every slip it was brought with.
struct ProvenanceSlip {
    std::string from;  // free text: who or where
    Right right = Right::unknown;
    std::string also_seen_sha256;  // digest of the package seen at a second source; empty if none
    UnixMs at = 0;
    std::string source_path;     // as given
    std::string package_sha256;  // over the archive's bytes; for a folder over its sorted "digest  path" lines
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

struct AddRequest {
    std::filesystem::path package;  // folder or archive
    ProvenanceSlip slip;            // from, right, also_seen; the rest is filled in
    bool index_only = false;
};

struct Added {
    Vetting vetting;
    Shelved shelved;
    bool was_there = false;  // the same bytes were on the shelf already; only the provenance slip was added
};

using Progress = std::function<void(const char* what, std::uint64_t done, std::uint64_t total)>;

class Shelf {
public:
    // Opens or makes the shelf below `folder`. One that was made by this opening and stays empty is taken away again on
    // destruction, with the folders made for it. outside_error when it cannot be made or its catalogue is damaged.
    static Result<Shelf> open(const std::filesystem::path& folder);
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

    // Every file of the package in the order of the card: index, signature, then the pieces in index order.
    Result<std::vector<family::PieceFile>> files(std::string_view family, std::string_view release) const;

    // Oldest and newest intake time and the number of different sources; for "newest known to this shelf as of".
    struct AsOf {
        UnixMs newest = 0;
        int sources = 0;
    };
    Result<AsOf> as_of(std::string_view family) const;

private:
    struct State;
    explicit Shelf(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

// Which of these families the package's index says it is for; empty when it names none of them or cannot be read. Looks
// only, judges nothing: for asking less at intake.
std::vector<std::string> named_families(const std::vector<family::Family>& families,
                                        const std::filesystem::path& package, bool index_only);

}  // namespace fettle::shelf
