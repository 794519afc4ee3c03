// What a job's entries add up to. fold() is pure: the same entries give the same job, and everything shown of a job
// (page, command, handover sheet) is taken from it.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/facts.h"
#include "fettle/base/record.h"
#include "fettle/base/verdict.h"
#include "fettle/book/clock_kept.h"
#include "fettle/book/journal.h"

namespace fettle::book {

struct LooseEnd {    // an obligation that is open until settled or signed for
    std::string id;  // stable within the job: "keeping-1", "fault-B1A4F-13", "ask-asks", …
    std::string words;
    std::string owner;  // who must act
    std::string consequence;
    bool settled = false;
    std::string settled_how, settled_by;
    bool signed_for = false;  // accepted as open, with name and reason
    std::string signed_by, signed_reason;
    bool blocks = true;      // false: only shown ("fault memory not read" where nothing ever read it)
    std::int64_t entry = 0;  // of the journal, where it arose

    bool open() const { return !settled && !signed_for; }
};

struct FaultSeen {
    std::string box, code;      // "B1A4F-13"
    std::optional<int> status;  // status byte; absent when typed without it
};

struct BoxMemory {  // one box's memory, asked for over the link
    bool read = false;
    std::string why;       // when it was not read
    std::string raw;       // the whole answer in hex, when it was
    int availability = 0;  // status bits that the box supports
    std::int64_t entry = 0;
    UnixMs at = 0;
};

// "not read" is a state of its own and never means none.
struct FaultRecord {
    Origin origin = Origin::not_read;
    std::vector<FaultSeen> entries;
    std::map<std::string, BoxMemory> boxes;  // role → its memory; of readings over the link, taken together
    std::optional<Place> place;              // where it was read; else where the job is done
    UnixMs at = 0;
    std::int64_t entry = 0;  // of the journal, the last that added to it; 0: none

    std::vector<std::string> unread() const;  // boxes that were asked or named, and not read
};

struct Clearing {            // a box was asked to clear entries
    std::int64_t entry = 0;  // of the journal, made before anything was sent
    std::string box, plate, allowed_by;
    std::vector<std::string> codes;       // what it was to clear
    std::vector<std::string> signed_too;  // beside the explained ones: entries that go with them, signed for one by one
    bool answered = false;                // what the box said is on record
    std::vector<std::string> done;     // codes for which it said yes, or that a later reading shows as cleared (bit 4)
    std::vector<std::string> waiting;  // codes that a reading since has listed with bit 4 set: not tested since a clear
    std::vector<std::string> unchanged;  // no answer on record, and a reading since lists them without that bit
    std::string why;                     // of the others
    std::size_t run = 0;                 // so many runs had been begun
    UnixMs at = 0;
};

struct BoxSaid {  // what a box said of itself over the link; an empty text: not read
    std::string plate, serial, release, market;
    std::optional<std::vector<std::string>> history;  // releases, oldest first
    std::optional<std::vector<Installed>> pieces;
    std::int64_t entry = 0;
};

struct Attempt : Tried {  // to mend a broken run
    std::string by;
    std::int64_t entry = 0;
    UnixMs at = 0;
};

struct Aftermath {  // what was found after a run broke; empty texts: not said
    std::string power, now, shows, release, supply;
    std::int64_t entry = 0;
    UnixMs at = 0;
};

struct PlannedStep {
    std::string release;
    bool one_way_door = false;
    std::uint64_t bytes = 0;
    int landed = 0, passed_over = 0, refused = 0, total = 0;
    double p50_s = 0, p90_s = 0;
    double no_way_back_p90_s = 0;
    std::vector<HandsOn> hands_on;
};

struct CardEntry {  // laid or audited
    std::string release, target, digest;
    std::uint64_t bytes = 0;
    unsigned number = 1;                  // which of several cards of the release
    std::string right;                    // laid: the right of the package's provenance slip
    Verdict verdict = Verdict::cant_say;  // audited
    bool audited = false;
    UnixMs at = 0;
};

struct FurtherCard {
    std::string release;
    bool audited_good = false;  // since it was laid
};

struct Correction {             // of an earlier entry; the fold already shows the corrected value
    std::int64_t entry = 0;     // the corrected one
    std::int64_t by_entry = 0;  // the correcting one
    std::string field, before, after, why, by;
    UnixMs at = 0;
    std::string of_type{};  // of the corrected entry; empty when there is none
};

struct Handover {
    std::string file, sheet_sha256, key;
    UnixMs at = 0;
};

struct RunMark {
    std::int64_t entry = 0;  // number of the journal entry
    std::string event;       // act id or "dark", "back", "asks", "answered", "ended", "shows: …"
    UnixMs at = 0;
    std::string source;  // "tap", "link", "amps", "stand-in"
    bool undone = false;
    std::string how, area;  // "answered": how, as a family file's answers say it, and where on the screen; may be empty
};

struct TextSeen {  // what the box showed, word for word
    std::int64_t entry = 0;
    std::string text, source;
    UnixMs at = 0;
    bool undone = false;
};

struct TallySeen {  // classes that were not read are absent
    std::int64_t entry = 0;
    std::map<std::string, int> counts;  // "landed", "passed_over", "refused", "to_come"
    std::string source;
    UnixMs at = 0;
    bool undone = false;
};

struct BreachSeen : Breach {
    std::int64_t entry = 0;
    bool undone = false;
};

struct CallMade {  // for hands; which rung of the ladder
    std::string key;
    int rung = 0;
    UnixMs at = 0;
};

struct SeriesChunk {                 // a stretch of a measured series that will not change any more
    std::string kind, file, sha256;  // file: below the home's folder `series`
    std::uint64_t from = 0, bytes = 0;
};

struct RunTimes {  // of a run that ended, for later forecasts; and what had been promised
    std::int64_t entry = 0;
    double seconds = 0;
    // Why it teaches nothing until somebody states it: "clock", "early", "short", "long", "continued", "skipped", or
    // "struck" when somebody said so; empty: it counts.
    std::string doubt;
    double promised_p50_s = 0, promised_p90_s = 0;  // 0: nothing was promised
    bool kept = false;                              // done within the promised 90 % point
    double loss_s = 0;                              // pinball loss at that point
};

struct ClockSet {            // after the start of a run
    std::int64_t entry = 0;  // the first that shows it
    ClockStep step;
};

struct Run {
    std::string release;
    int step = 0;  // 1-based among the planned steps
    UnixMs started = 0;
    std::string id;  // 16 hex digits out of the digest of its start: names it without its job
    std::optional<UnixMs> ended;
    std::int64_t ended_entry = 0;     // of the journal; 0: it has not ended
    UnixMs ended_at_entry = 0;        // when that entry was made
    bool continued = false;           // it goes on from the run before, which broke off
    bool early = false;               // it is marked as ended, and cannot have done its work by then
    std::vector<ClockSet> clock_set;  // from its start to that of the next run
    bool against_halt = false;
    std::vector<RunMark> marks;
    std::vector<TextSeen> texts;       // all, also those taken back
    std::vector<TallySeen> tallies;    // all, also those taken back
    std::vector<BreachSeen> breaches;  // holds that were seen broken
    std::vector<std::string> shown;    // texts of the box, word for word, without those taken back
    std::map<std::string, int> tally;  // last typed or read tally that stands: "landed" …
    RunState outcome = RunState::open;
    std::string by;        // who began it; may be empty
    std::string expected;  // what it is held against, as JSON, as it was at the start; may be empty
    std::vector<CallMade> calls;
    std::vector<SeriesChunk> series;
    std::optional<RunTimes> times;
    std::optional<Aftermath> aftermath;  // the last word
    std::vector<Attempt> attempts;       // to mend it, in order
    std::string advice;                  // the last sentence of mend
};

struct Job {
    std::string number;
    std::int64_t last_number = 0;  // of its last entry
    UnixMs opened = 0;
    std::string customer, vin, vehicle, complaint;
    Place place = Place::bench;                 // where the job is done
    std::optional<int> housings;                // what the intake says
    std::map<std::string, std::string> plates;  // role (or "box 1") → plate as typed
    std::vector<std::string> consents;          // "one-way", "name on the sheet", …
    // The one-way doors that the owner agreed to: those of the plan at that time; none in it: given before there was a
    // plan, so for whichever comes. Absent: not agreed.
    std::optional<std::vector<std::string>> one_way_doors;
    std::vector<Keeping> keepings;
    std::vector<std::string> notes;
    std::string family, family_digest, release_found, market;
    // Role → release, where the boxes have different ones; release_found is empty then.
    std::map<std::string, std::string> releases_found;
    std::string view;                // the version view as it was typed, when it was one
    std::vector<std::string> views;  // all of them
    Verdict identified = Verdict::cant_say;
    std::vector<Reason> identity_reasons;
    Origin as_found_origin = Origin::not_read;  // of what was planned from
    std::vector<Installed> as_found;
    std::string planned_from, target;
    std::string found_from;   // planned_from of the last plan before its first run
    std::string planned_set;  // the set that it starts from, as JSON; empty: of an older journal, or identified since
    std::string planned_fed;  // "together" or "apart"; empty: as the family file says
    int planned_cuts = 1;     // that its map looks at
    std::vector<PlannedStep> plan;
    // What the list that the box offers before the start has otherwise than planned, when one was last held against the
    // plan; it stands until a list without surprises was, or a run began.
    std::vector<std::string> offered_otherwise;
    Verdict plan_verdict = Verdict::cant_say;
    std::string card_release,
        card_digest;                 // of the card last laid or audited; of several the first, which starts a run
    bool card_audited_good = false;  // that card, that digest: audited fit or mind after it was laid
    std::map<unsigned, FurtherCard> further_cards;  // of a release over several cards: from 2 on
    std::vector<CardEntry> cards;                   // all, in order
    std::map<std::string, std::string> answers;     // ready: "touch", "knob", … → "answers" / "dead"; supply figures
    std::map<std::string, UnixMs> answers_read;     // those of them that an instrument gave, and when
    std::vector<Acceptance> accepted;
    Verdict ready_verdict = Verdict::cant_say;
    bool ready_checked = false;
    int ready_step = 0;  // 1-based; 0: not said
    std::vector<Reason> ready_reasons;
    std::vector<Run> runs;
    // What was left: of the last run; a new start makes these "not read" and "" again.
    Origin as_left_origin = Origin::not_read;
    std::string as_left_release;
    std::vector<Installed> as_left;
    std::optional<std::vector<std::string>> as_left_history;  // as typed; what the link read is in said_after
    std::string proved;                                       // "proved", "partly", "failed", "" when not asked
    std::vector<Reason> proof;
    Verdict proof_verdict = Verdict::cant_say;
    FaultRecord faults_before, faults_after, faults_cleared;  // the last two: of the last run
    FaultRecord faults_elsewhere;                             // of the last run, read in the other place before
    std::vector<Clearing> clearings;
    std::map<std::string, BoxSaid> said_before, said_after;  // role → what it said; after: of the last run
    std::vector<LooseEnd> loose_ends;                        // all, open and settled, in order of first appearance
    std::vector<Handover> handovers;                         // sealed sheets
    std::vector<Correction> corrections;
    std::vector<ClockKept> clocks;  // the last entry of each start of a machine that wrote
    int unknown_entries = 0;        // of types this version does not know: kept in the journal, not folded
    UnixMs last_entry = 0;

    bool is_open_run() const;
    std::string found_words() const;          // "27.1.110", "display 26.4.102, main 27.1.110" or ""
    const FaultRecord& faults_now() const;    // the latest of after and after clearing
    std::vector<LooseEnd> open_ends() const;  // those that block a handover: neither settled nor signed for
};

// Unknown entry types are counted in unknown_entries and otherwise left out; malformed data of a known type is an error
// naming the entry. Does not check the chain: check_chain does.
Result<Job> fold(std::string_view number, const std::vector<Entry>& entries);

// Would fold() take this entry? bad_input names the member and what was expected. Ask before appending: the journal
// forgets nothing, a malformed entry neither. An unknown type passes if its data is a JSON object.
Status check_entry(std::string_view type, std::string_view data);

// The members that a type of entry may have, in the order of the alphabet; empty for an unknown type. A correction of
// another member would change nothing.
std::vector<std::string> members_of(std::string_view type);

}  // namespace fettle::book
