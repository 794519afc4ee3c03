// Ready: everything that must be true before a step starts, and stay true until it ends. The question is
// finish-ability: whatever any later state of the script will need is proved now, or named as not known. Computes on
// values: what was typed, what the plan says, what the card's audit found. Never starts anything, never touches a
// device, and has no way to turn a halt into a start.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/record.h"
#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/family/family.h"
#include "fettle/forecast/forecast.h"
#include "fettle/ready/supply.h"

namespace fettle::ready {

// What the technician told, by keys ("knob" → "answers", "supply.volts" → "13.5"); docs/ready.md lists them all.
using Told = std::map<std::string, std::string>;

// Checks one key=value before it is kept: unknown keys and values that cannot be read are bad_input, with what was
// expected. A figure must be a number in a range that can be true at all (a battery health of 800 % is a slip).
Status check_answer(const family::Family& family, const std::string& key, const std::string& value);

// A general no, "holds=no" or "person=no", said after single ones were answered with yes: it is a no to each of them.
// Their keys. A general yes says nothing of a single no: that one is put right by its own key.
std::vector<std::string> also_denied_by(const Told& told, const std::string& key, const std::string& value);

// What other rooms found. optional: nullopt is "not known", which is never taken for yes.
struct Situation {
    bool on_bench = true;
    Told told;
    std::string release;                      // this step's
    std::optional<Verdict> plan_verdict;      // of the plan as a whole
    std::string plan_because;                 // the worst reason of the plan, one sentence
    std::optional<std::string> card_release;  // laid for this job
    bool card_audited_good = false;
    std::optional<unsigned> cards;           // that this step's release takes, one after the other
    std::map<unsigned, bool> further_cards;  // from 2 on, laid or audited for this step's release: audited good since?
    std::optional<bool> right_known;         // the provenance slip names a right of use
    bool one_way_door = false;
    bool one_way_consent = false;
    std::vector<Keeping> keepings;
    std::map<std::string, std::int64_t> read_s_ago;  // told keys that an instrument gave, and how long ago
};

// One line of the check, for showing: what, the value it rests on, and the reason that came of it. What would better it
// is the reason's next; its acts name no job.
struct Item {
    std::string words;  // "knob, for: asks for the knob (Turn the knob to go on)"
    std::string value;  // "answers (typed)", "13.5 V (typed), 13.3 V at the box", "not said"
    Reason reason;
};

struct HandsDue : HandsOn {  // of the step that is checked
    std::string words, control;
};

struct Check {
    std::vector<Item> items;
    Judgement judgement;                // the items' reasons, in the same order
    std::vector<std::string> cautions;  // short, for the point of risk; the same words as docs/cautions.md
    std::vector<HandsDue> hands;
    std::vector<std::string> remedies;  // the least change of each kind that would better the supply, searched
    std::vector<std::string> wanted;    // keys not told yet that would settle a can't say
};

Check check(const family::Family& family, const forecast::Forecast& forecast, const cutmap::CutMap& map,
            const Situation& situation);

// "code:where", or the code alone when it says where nothing.
std::string acceptance_key(const Reason& r);

// usage_error when the code names no reason of the judgement, several of them, a halt, or when by or reason is empty.
Status may_accept(const Judgement& judgement, const Acceptance& acceptance);

struct MayStart {
    bool yes = false;
    std::vector<Reason> standing;  // halts, and can't says that nobody signed for
};
// Fit and mind start; every can't say needs its own signature; a halt never starts.
MayStart may_start(const Judgement& judgement, const std::vector<Acceptance>& acceptances);

}  // namespace fettle::ready
