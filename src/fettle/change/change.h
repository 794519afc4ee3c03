// What a release would do to a set of boxes: does it fit and why not; per piece what happens; the counts that the box
// should show. Computes on values; never reads a package, a box or a clock, and never decides for the technician.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/facts.h"
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
    std::optional<std::int64_t> counter;             // rollback counter
    std::optional<std::int64_t> counter_at_least{};  // where it is not known: the last that was

    bool operator==(const BoxState&) const = default;
};

// The set: role → box. Ordered, so that two equal sets compare equal.
using SetState = std::map<std::string, BoxState>;

struct InstalledList {
    Origin origin = Origin::inferred;  // or typed, or read
    std::string inferred_from;         // release, for inferred
    std::vector<Installed> pieces;

    const Installed* find(std::string_view box, std::string_view name) const;
};

enum class Truth { yes, no, unknown };

// Does the piece apply to this box? Unknown when the piece is for some issue letters only and the box's is not known.
Truth applies(const family::Piece& piece, const SetState& set);

// The list that a box at this release would have, for a set whose issue letters are given: pieces that do not apply are
// left out. Cannot exclude that single pieces were changed otherwise; whatever rests on it says "inferred".
InstalledList infer(const family::Release& shown, const SetState& set);

// One condition that a release sets. `rule` is the rule it belongs to ("market", "way", "counter", "family", "boxes",
// "issue", "older"): route drops whole rules to say what stands against a way. "way" is installs_from and stepping
// stones, "older" a box that takes nothing older.
struct Condition {
    std::string rule;
    std::string code;   // reason code when it does not hold, e.g. "market"
    std::string field;  // e.g. "market", "main.counter"
    std::string found, wanted;
    Truth holds = Truth::yes;
    std::string text;      // the sentence shown when it does not hold or is unknown
    std::string rests_on;  // "package index", "family file"
};

// Every condition of the release against the set as it stands, held or not, in a fixed order of rules.
std::vector<Condition> conditions(const family::Family& family, const family::Release& release, const SetState& set);

// The same as a judgement: each false condition a halt with found and wanted, each unknown one a can't say; none of
// either: one reason "fits". There is no way to force: nothing here takes an override.
Judgement fit(const family::Family& family, const family::Release& release, const SetState& set);

// The counter that a release leaves in a box: the index's own figure, else the family file's. Nullopt: nobody says.
std::optional<std::int64_t> counter_of(const family::Family& family, const family::Release& release);
std::optional<std::int64_t> counter_of(const family::Family& family, std::string_view release);
// The index or the family file says that there is no way back from this release.
bool is_one_way_door(const family::Family& family, const family::Release& release);

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

// low == high unless the as-found list is inferred, or it can't be said whether the box refuses a piece as older.
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
    Judgement judgement;         // silent downgrades, unreadable versions, twice-named or unknown pieces, nothing to do
    bool nothing_to_do() const;  // no piece is to be written or refused
    int count(Action a) const;
};

// `as_found` may be empty (nothing known): every applying piece is then "replace" and the tally a range. Pieces that
// do not apply are not part of the total; pieces that only the as-found list has are not either. `others`: further
// releases that could have left single pieces behind (the shelf's); the more is known, the narrower an inferred range:
// a piece that has one and the same version in all of them is kept for certain. With no others nothing is excluded.
ChangeSheet change_sheet(const family::Family& family, const family::Release& release, const InstalledList& as_found,
                         const SetState& set, const std::vector<family::Release>& others = {});

// The list after the sheet's step has landed wholly (refused pieces stay as they were), and the set after it: every
// box that the release has pieces for shows the release and has its counter; a counter never falls. Without a figure
// from index or family file the counter is not known, and at least what it was.
InstalledList after(const ChangeSheet& sheet, const family::Release& release, const InstalledList& as_found);
SetState set_after(const family::Family& family, const SetState& set, const family::Release& release);

// A typed or saved list: one line a piece, "box name version [sha256]", '#' comments; names without blanks. bad_input
// names the line. Twice-named pieces are an error with both lines.
Result<InstalledList> parse_installed(std::string_view text, std::string_view place);

}  // namespace fettle::change
