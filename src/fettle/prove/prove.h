// Proof: is what is installed now what the step should have left? Piece by piece, from whatever is known: a list read
// over the link, a typed one, the release the box shows, its tally. Computes on values. What was not read is "not
// read", never "as expected" and never "none".
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/change/change.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::prove {

enum class Proof { proved, partly, failed };
std::string_view words(Proof p);  // "proved", "partly", "failed"

enum class PieceState { as_expected, inferred, other_version, missing, not_expected, not_read };
std::string_view words(PieceState s);

struct PieceProof {
    std::string box, name;
    std::string expected, found;  // versions; empty: none
    PieceState state = PieceState::not_read;
    change::Action action = change::Action::keep;  // what the step was to do with it
};

struct Counted {  // the box's last tally; classes not read are absent
    std::optional<int> landed, passed_over, refused, to_come;
};

// What is known after the step. Absent: not read, not told, not tried.
struct Evidence {
    std::optional<change::InstalledList> as_left;
    std::optional<std::string> release_shown;  // by the box's version view
    std::optional<Counted> tally;
    std::optional<bool> run_ended;                // marked as ended; false: and its end is in doubt
    std::optional<double> settled_s;              // since the end of the run
    std::map<std::string, std::string> releases;  // role → release that the box gave over the link
    // role → releases in the box's own record, oldest first; role "": typed from what the set shows. Before: before the
    // first run of the job.
    std::map<std::string, std::vector<std::string>> history_before, history_after;
    std::map<std::string, std::vector<std::string>> path;  // role (and ""): releases of the planned steps so far
    std::vector<std::string> refused_texts;                // texts seen that mean a refused piece
    std::vector<std::string> tried;                        // functions tried and found good, as the family words them
    std::vector<std::string> tried_bad;
    std::string complaint;
};

// How something that is wanted for proof can be given.
enum class Give { as_left, tally, end_of_run, end_in_doubt, trial };

struct Answer {
    Proof proof = Proof::partly;
    std::vector<PieceProof> pieces;    // expected ones in the order of the sheet, then what nobody expected
    std::vector<std::string> missing;  // what is still wanted for "proved"
    std::set<Give> to_give;            // what of it can be given, in this order
    std::vector<std::string> to_try;   // functions of the family for this complaint and these pieces, not tried yet
    int as_expected = 0, inferred = 0, differ = 0, not_read = 0;
    Judgement judgement;
    std::string sentence;  // "proved: all 40 pieces are as planned (read over the link)"
};

// `expected` is change::after(sheet, release, as_found); `set_after` change::set_after.
Answer prove(const family::Family& family, const change::ChangeSheet& sheet, const change::InstalledList& expected,
             const change::SetState& set_after, const Evidence& evidence);

// What the boxes say of themselves against what the job was identified with outweighs every piece: then the proof has
// failed, whatever the list says. Nothing against it: nothing changes.
void overrule(Answer& proof, const std::vector<Reason>& against);

}  // namespace fettle::prove
