// What a run that was watched to its good end teaches a family file: states, restarts, durations, currents, asks with
// their control, texts, the classes of the tally, the card that was accepted. Pure: values in, lines to accept out; the
// text of the file is changed by apply(), only where a line was accepted.
//
// Never learnt: the boot order and whatever a power cut would do (a good run shows neither), the lowest voltage, what
// the box writes. A run that says otherwise than the file is named and not averaged away.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/watch/tracker.h"

namespace fettle::learn {

struct AcceptedCard {  // of the job: laid, audited good, and the run ended
    std::string file_system;
    std::uint32_t cluster_kib = 0;
};

struct Seen {         // one run
    std::string run;  // 16 hex digits: the same run is counted once
    std::string day;
    UnixMs ended = 0;
    watch::Observed observed;  // marks taken back are left out
    struct Reply {
        UnixMs at = 0;
        std::string how, area;  // "turn", "press", "touch", "key", "card"
    };
    std::vector<Reply> replies;  // how asks were answered, where somebody said so
    std::optional<AcceptedCard> card;
};

struct Line {                   // what may be accepted, or not
    std::string key;            // "act.asks-1.seconds"
    std::string before, after;  // as the file has it; before is empty where it says nothing
    std::string rests_on;       // "measured 1: 1 in 2 that the next is no longer"
    bool loosens = false;       // lets through what the file holds back now: wants a name
    // The edit: a value in a section, or a block at the end.
    std::string section, edit_key, block;
    int item = -1;
};

struct Learnt {
    std::vector<Line> lines;
    std::vector<std::string> contradicts;  // where this run says otherwise than the file, a sentence each
    std::vector<std::string> not_learnt;   // what was seen or wanted and cannot be learnt from it
    bool seen_before = false;              // the file has counted this run already
};
Learnt learn(const family::Family& family, std::string_view toml, const Seen& seen);

// The text with the accepted lines (numbers from 1) in it, and a [[watched]] entry that counts the run. allowed_by: the
// name for what loosens; may be empty. bad_input "edit-by-hand", or "learnt-not-usable" when the outcome would not
// load. With nothing accepted the text is as it was.
Result<std::string> apply(std::string_view toml, const Seen& seen, const Learnt& learnt, const std::set<int>& accepted,
                          const std::string& allowed_by);

// --- parts ---------------------------------------------------------------------------------------------------------

// "n = 3: 3 in 4 that the next is no longer": of n + 1 values in any order, each is as likely the longest.
std::string odds_of_longest(std::size_t n);

// Median and nine-in-ten of what was seen, sorted or not, at least one value. From nine values on both are of what was
// seen; before, the nine-in-ten is computed with a spread that is a guess, worth three runs, and never below the
// longest.
struct Times {
    double median_s = 0, p90_s = 0;
};
Times times_of(std::vector<double> seen_s);

// One state of a run without a script, from one sign to the next.
struct State {
    family::Act act;  // id, kind, words, shows, dark, control, answers
    double from_s = 0, to_s = 0;
};
// odd: signs that fit nowhere, a sentence each.
std::vector<State> states_of(const family::Family& family, const Seen& seen, std::vector<std::string>& odd);

// Mean and greatest of the current between two instants, both a second inside; nullopt: fewer than five readings.
std::optional<family::Current> current_in(const Seen& seen, double from_s, double to_s);

// An act as a [[act]] block.
std::string act_block(const family::Act& act, const std::string& remark);

}  // namespace fettle::learn
