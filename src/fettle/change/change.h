// What a release would do to a set of boxes: does it fit and why not; per piece what happens; the counts that the box
// should show. Computes on values; never reads a package, a box or a clock, and never decides for the technician.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::change {

// One box as it stands. Anything not known is empty or nullopt, and holds up only the answers that need it.
struct BoxState {
    std::string release;  // "" = not known
    std::string issue;    // issue letter of its plate
    std::string market;
    std::optional<std::int64_t> counter;  // rollback counter

    bool operator==(const BoxState&) const = default;
};

// The set: role → box. Ordered, so that two equal sets compare equal.
using SetState = std::map<std::string, BoxState>;

// Where an installed list comes from. "inferred": taken from the index of the release that the box shows.
enum class Origin { typed, read, inferred };
std::string_view words(Origin o);

struct Installed {
    std::string box, name, version;
    std::string sha256;  // where the box can tell; else empty
};

struct InstalledList {
    Origin origin = Origin::inferred;
    std::string inferred_from;  // release, for inferred
    std::vector<Installed> pieces;

    const Installed* find(std::string_view box, std::string_view name) const;
};

// The list that a box at this release would have, for a set whose issue letters are given: pieces that do not apply are
// left out. Cannot exclude that single pieces were changed otherwise; whatever rests on it says "inferred".
InstalledList infer(const family::Release& shown, const SetState& set);

// Fit, three-valued per condition: market, installs_from, counter, family, boxes present, issue letters. All false
// conditions are halts with found and wanted; unknown ones are can't say; none: one reason "fits".
Judgement fit(const family::Family& family, const family::Release& release, const SetState& set);

enum class Action { add, replace, keep, does_not_apply, refuse };
std::string_view words(Action a);

struct Line {
    std::string box, name, region;
    std::string before, after;  // versions; before empty when the piece is not there
    Action action = Action::replace;
    std::string because;      // the condition that decided, with the values
    std::uint64_t bytes = 0;  // to be written: 0 unless add or replace
    bool downgrade = false;   // after is older than before
};

// low == high unless the as-found list is inferred.
struct Range {
    int low = 0, expected = 0, high = 0;
};

struct ExpectedTally {
    Range landed, passed_over, refused;
    int total = 0;
};

struct ChangeSheet {
    std::string from, to;  // releases; from is that of the as-found list, empty when not known
    std::vector<Line>
        lines;  // in the order of the release's index, then pieces that only the as-found list has (none written)
    ExpectedTally tally;
    std::uint64_t bytes = 0;  // to be written
    Origin rests_on = Origin::inferred;
    Judgement judgement;  // silent downgrades, unreadable versions, twice-named or unknown pieces, nothing to do
    bool nothing_to_do() const;
};

// `as_found` may be empty (nothing known): every applying piece is then "replace" and the tally a range.
ChangeSheet change_sheet(const family::Family& family, const family::Release& release, const InstalledList& as_found,
                         const SetState& set);

// The list after the sheet's step has landed wholly, and the set after it.
InstalledList after(const ChangeSheet& sheet, const family::Release& release, const InstalledList& as_found);
SetState set_after(const SetState& set, const family::Release& release);

// A typed or saved list: one line a piece, "box name version [sha256]", '#' comments; names without blanks. bad_input
// names the line. Twice-named pieces are an error with both lines.
Result<InstalledList> parse_installed(std::string_view text, std::string_view place);

}  // namespace fettle::change
