// The family file in memory: all that Fettle knows of boxes that take the same releases. Lore is data; this header is
// its schema and docs/family-file.md its prose. This room reads, checks and compares family files and package indexes;
// it never decides anything about a job.
//
// Absent knowledge is absent here too: std::optional, an empty list, or a source that is a guess. Nothing is filled in.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/basis.h"
#include "fettle/base/result.h"

namespace fettle::family {

// A duration with spread. Every source is one of "measured N", "maker's paper", "common practice" and "guess".
struct Duration {
    double median_s = 0;
    double p90_s = 0;  // nine in ten are shorter; >= median_s
    Basis source;
    std::vector<double> seen_s;  // what each run took that `source` counts, where that was kept
};

struct Current {  // of the whole set, in ampere, at 12 V nominal
    double mean_A = 0;
    double p99_A = 0;
    Basis source;
};

// --- labels -----------------------------------------------------------------------------------------------------

struct CheckRule {
    std::string method;             // "iso7064-mod11-2"
    std::vector<std::string> over;  // names of the fields whose characters it covers, in order
};

// A text with named fields. pattern is RE2 syntax, matched against the whole text; fields are its named groups.
struct LabelRule {
    std::string pattern;
    std::optional<CheckRule> check;                                    // its own field is named "check"
    std::map<std::string, std::map<std::string, std::string>> values;  // field → known value → meaning in words
    std::vector<std::string> likely;                                   // fields whose meaning is only likely
    std::vector<std::string> examples;                                 // must be accepted
    std::vector<std::string> counter_examples;                         // must be refused
    std::string reach;                                                 // how a person gets to see it
};

struct Box {
    std::string role;   // "main", "display"; unique in the family
    std::string words;  // "main box"
    LabelRule plate;
    std::string written_by;  // "own medium" or the role of the box that writes it
    std::string supply;      // boxes that name one supply are fed by it together; all empty: one feeds them all
    std::string kind;        // e.g. "infotainment": what the allow-list for clearing faults is about
};

struct PairRule {      // "display.line == main.line"
    std::string text;  // left and right are <role>.<field of the version>, operator is ==, <= or >=
    std::string when;  // "at rest" or "under way"
};

// --- releases ---------------------------------------------------------------------------------------------------

struct VersionOrder {
    std::string rule;                 // "numeric", "semver", "debian" or "list"; empty: not known
    std::vector<std::string> list;    // oldest first, for "list"
    std::vector<std::string> fields;  // names of the dotted numbers, for pair rules: "line", "step", "build"
};

// What is known of a release without having its package.
struct KnownRelease {
    std::string release;
    std::optional<std::int64_t> counter;  // rollback counter that it leaves in the box
    bool stepping_stone = false;
    bool one_way_door = false;  // after it there is no way back to a release with a lower counter
    std::vector<std::string> cures;
};

// Where the index stands and how its items map. What the values of the mappings are depends on the form: JSON pointers
// (RFC 6901), paths of XML elements, names of columns or keys; for a piece, relative to it.
struct PackageRule {
    std::string index;                 // path of the index in the package
    std::string form;                  // "json", "xml", "csv", "tsv", "ini", "digest-list", "cyclonedx"
    char separator = ',';              // csv
    std::vector<std::string> columns;  // csv, tsv: names of the columns of a table that has no head
    std::string digest;                // digest-list: the algorithm of its digests, "sha256"
    std::string signature_form;        // "ed25519", "cms" or empty: whole, origin not proven
    std::string signature_file;
    std::string signature_key;                        // ed25519: 32 bytes as hex
    std::vector<std::string> signature_certificates;  // cms: PEM, any of which the chain may end in
    std::string signature_signer;                     // cms: common name that a signer must have; empty: any
    int signature_needs = 1;                          // cms: different signers at least
    bool unsigned_refused = true;                     // false: a package without its signature is taken, with a mind
    std::map<std::string, std::string>
        release_fields;  // release, family, markets, installs_from, counter, one_way_door, cures, pieces
    std::map<std::string, std::string>
        piece_fields;  // name, box, region, version, file or files, size, sha256 and other digests, issues
    std::map<std::string, std::string> file_fields;  // of an item of `files`: path, size, digests
    // RE2 with named groups (name, box, region, version, issue, release) over a file's whole path; empty: the path
    // tells nothing.
    std::string path_pattern;
    std::map<std::string, std::string> always;  // box, region where the maker's index need not say them

    bool one_file_a_line() const;  // forms in which lines of one piece belong together
};

// --- card -------------------------------------------------------------------------------------------------------

// A release that is larger than one card: cards.h splits it.
struct CardsInTurn {
    unsigned most = 1;             // a run takes up to so many cards, one after the other; 1: one card holds all
    std::uint64_t each_bytes = 0;  // capacity of the card that a release is split for; with most > 1 never 0
    bool index_on_every = true;    // the index and its signature stand on every card, or on the first alone
};

struct CardRule {
    std::vector<std::string> media;          // "usb-stick", "sd"
    std::string table = "mbr";               // "mbr", "gpt" or "none"
    std::string file_system = "fat32";       // "fat16", "fat32", "exfat"
    std::vector<std::uint32_t> cluster_kib;  // allowed cluster sizes; empty: any
    std::uint64_t min_bytes = 0;
    std::uint64_t max_bytes = 0;        // 0: no limit known
    std::string label;                  // volume label to write; empty: none
    std::string index_at;               // path on the card where the box looks for the index
    std::string foreign = "tolerated";  // foreign files at the top: "tolerated" or "refused"
    std::uint32_t longest_path = 255;
    std::uint64_t largest_file = 4294967295u;
    CardsInTurn in_turn;
};

// --- what is written, and what happens when power goes ------------------------------------------------------------

struct Region {
    std::string box;
    std::string name;
    std::string words;
    int stores = 1;                     // 2: an active and a spare copy, chosen by `selected_by`
    std::string selected_by;            // flag of the same box whose value is the active store: "a" or "b"
    std::string written_as = "pieces";  // "pieces": each piece is a cell; "image": the region is one cell
    double rate_mib_s = 0;              // writing
    double overhead_s = 0;              // per piece
    double spread = 0.15;               // standard deviation of ln(time)
    std::optional<double>
        buffered_s;       // what was reported written within this time may not be on the medium; absent: unknown
    bool atomic = false;  // a cut leaves a cell old or new, never torn
    Basis source;
};

struct Flag {  // persistent, changes atomically
    std::string box;
    std::string name;
    std::vector<std::string> values;
    std::string start;  // its value at rest before a run
};

struct Answer {
    std::string how;       // "turn", "press", "key", "card", or "nothing"
    double after_s = 0;    // for "nothing": how long
    std::string leads_to;  // "goes on" or "stops"
};

enum class ActKind { read, compare, write, set, restart, ask, wait, end };
std::string_view words(ActKind k);

// One state of the step script. Acts run in the order of the file.
struct Act {
    std::string id;  // unique; also the name of the state that watch and marks use
    ActKind kind = ActKind::wait;
    std::string box;                  // whose act it is; for a restart of all boxes: "all"
    std::string words;                // "writes the recovery region"
    std::string region;               // write
    std::string store;                // write: "active" or "spare" (regions with two stores)
    bool forced = false;              // write: at its end everything buffered is on the medium
    std::string flag, value;          // set: flag of `box` gets value; "other" toggles between "a" and "b"
    std::string into;                 // restart: the mode that is expected to start ("normal", "recovery")
    std::optional<Duration> seconds;  // all but write (whose time follows from pieces and bytes)
    std::optional<Current> current;
    std::string shows;    // what the box shows, if anything
    bool dark = false;    // the screen is dark as a rule
    std::string control;  // ask: "knob", "touch", "key" or "card"
    std::string area;     // ask by touch: area of the screen, e.g. "lower right"
    int card = 0;         // ask for a card: which of the release's cards goes in (2: the second)
    std::vector<Answer> answers;
    std::string wake;           // on a bench: what must be fed for this state to end; empty: nothing
    bool polling_safe = false;  // the link may ask in this state
};

// Ways to start after power returns, tried in order, per box.
struct BootRule {
    std::string box;
    std::string mode;                           // "normal", "recovery"
    std::vector<std::string> needs;             // regions whose cells must be whole
    std::string store = "active";               // which store of two-store regions it means
    std::string consistency = "same release";   // or "any"
    std::map<std::string, std::string> when;    // flag of this box → value it must have; empty: always
    std::string goes_on = "not at all";         // "by itself", "with the card", "not at all"
    std::string from = "start";                 // "same cell", "same act", "start"
    std::string whole_new_cells = "rewritten";  // or "kept"
    bool net = false;                           // part of the family's net: while it does not hold, "no net"
};

// When no boot rule holds: a way in that needs none of `not_torn`; absent: lost.
struct BenchRepair {
    std::string box;
    std::string words;
    std::vector<std::string> needs;  // regions that must be whole for it
};

// --- what people and instruments see ------------------------------------------------------------------------------

struct Tally {  // what the box calls our four classes; empty: not shown
    std::string landed, passed_over, refused, to_come;
    bool counts_not_applying = false;  // pieces for other hardware are in its total, as passed over
    bool total_may_grow_after_restart = false;
    bool to_come_may_rise = false;
};

struct Message {
    std::string text;  // as the box shows it
    std::string meaning;
    std::string next;
    Basis sure;
    bool refused_piece = false;
    std::string retry;  // of a refused piece: what the family says about trying again
};

// How runs get stuck, for telling slow from stuck. Shares in [0, 1].
struct Stuck {
    double prior = 0;                                     // of runs
    std::optional<double> low_A;                          // at or below it the current counts as low
    std::optional<double> low_when_stuck, low_when_good;  // flat low current where the script does not have it
    std::optional<double> low_when_good_and_silent;       // of the good runs that are silent: the joint figure
    Basis source;
};

struct Supply {
    double lowest_V = 0;
    double nominal_V = 12.0;
    std::optional<double> vehicle_off_after_s;  // a timer that ends ignition by itself
    std::optional<double> support_V;            // to set on a support supply
    double reserve_s = 0;                       // recovery reserve
    Basis source;
};

struct LinkBox {
    std::string role;
    std::uint16_t address = 0;                                                                     // logical address
    std::uint16_t did_plate = 0, did_serial = 0, did_release = 0, did_market = 0, did_pieces = 0;  // 0: not known
    std::string pieces_layout;      // "lines": "name version\n" repeated, ASCII
    std::uint16_t did_history = 0;  // which releases were installed in it, by its own record
    std::string history_layout;     // "lines": "release …\n" repeated, oldest first; "lines, newest first"
};

struct FaultNote {
    std::string code;  // "B1A4F-13": letter form with failure type
    std::string words;
    std::string explained_by;  // "skipped ask", "partner not on the bench", "low supply"
    std::string ask;           // for a skipped ask: the act's id
};

// A way to mend a run that broke. Ways that the file does not name have the usual limits.
struct MendWay {
    std::string kind;                 // "wait", "same card", "laid-again card", "recovery card", "other supply"
    int most = 2;                     // attempts of this kind
    double wait_s = 0;                // "wait": at least so long; 0: by the forecast
    std::string words;                // what to do, in the family's words; empty: the usual ones
    std::string who;                  // who may do it; empty: the technician
    std::vector<std::string> writes;  // "recovery card": regions that it writes, "box.region"
    Basis source;
};

struct Hold {
    std::string id;     // "doors"
    std::string words;  // "doors stay shut"
    bool on_bench = false;
    bool in_vehicle = true;
    bool engine_off = false;           // while the engine runs it cannot hold
    std::vector<std::string> seen_by;  // what sees that it is broken, beside a person's tap: "voltage", "bus"
};

// A touch screen as a grid of equal cells, counted from 1 at its upper left corner, and the areas that asks name.
struct TouchArea {
    std::string name;                              // "lower right"
    int left = 1, top = 1, right = 1, bottom = 1;  // first and last column and row
};
struct TouchScreen {
    std::string box;
    int columns = 0, rows = 0;
    std::vector<TouchArea> areas;
};

struct Trial {  // functions to try after a run
    std::string words;
    std::string when_complaint_has;  // word in the complaint; empty: always
    std::string when_piece_moved;
};

// A run that this file has learnt from: it is counted once, and what it contradicted is not averaged away.
struct WatchedRun {
    std::string run;  // 16 hex digits out of the journal's digest of its start
    std::string day;  // "2026-10-02"
    std::vector<std::string> contradicts;
    std::string allowed_by;  // who answers for what was loosened by it; may be empty
};

struct Family {
    std::string id, marque, words, level;  // level "L0" … "L5" as the file claims
    std::string newest_release, newest_as_of;
    std::vector<Box> boxes;
    std::vector<PairRule> pairs;
    LabelRule view;
    VersionOrder order;
    std::vector<KnownRelease> known;
    std::optional<PackageRule> package;
    std::optional<CardRule> card;
    std::vector<Region> regions;
    std::vector<Flag> flags;
    std::vector<Act> script;
    std::vector<BootRule> boot;  // empty: boot order unknown, the map says "can't say"
    std::vector<BenchRepair> bench;
    std::optional<Supply> supply;
    std::optional<Stuck> stuck;
    std::optional<Tally> tally;
    std::vector<Message> messages;
    std::vector<LinkBox> link;
    std::vector<FaultNote> faults;
    std::vector<MendWay> mend;
    std::vector<Hold> holds;
    std::vector<TouchScreen> screens;  // at most one a box
    std::vector<Trial> trials;
    std::vector<WatchedRun> watched;
    std::vector<std::string> primer;
    bool refuses_older = false;  // the box refuses a piece that is older than the installed one
    double settle_s = 0;         // after `end`, before safe to remove
    std::string digest;          // SHA-256 of the file's bytes, hex; pinned by a job's journal

    const Box* box(std::string_view role) const;  // nullptr if there is none
    const Region* region(std::string_view box, std::string_view name) const;
    const Act* act(std::string_view id) const;
    const KnownRelease* known_release(std::string_view release) const;
};

// --- loading --------------------------------------------------------------------------------------------------------

// One mistake: the TOML line (1-based) and dotted key it stands at, e.g. line 31, "box[1].plate".
struct Finding {
    int line = 0;
    std::string key;
    std::string problem;  // what was found and what was expected
    std::string next;
    bool unknown = false;  // not a mistake: something the file does not say, and what waits for it
};

struct Loaded {
    Family family;                  // as much as could be read
    std::vector<Finding> mistakes;  // empty: the family may be used
    std::vector<Finding> unknowns;  // what the file leaves open and which answers wait for it
};

// Reads and checks in one pass; every mistake is listed, sorted by line. A text that is no TOML at all gives one
// mistake.
Loaded load_family_text(std::string_view toml);

// The same from a file. bad_input lists the first mistakes by line and key when the file may not be used.
Result<Family> load_family(const std::filesystem::path& file);

// --- versions -------------------------------------------------------------------------------------------------------

// <0, 0, >0. Numeric: dotted numbers of any length; SemVer 2.0.0; Debian Policy 5.6.12; or the list's order. Nullopt if
// a version is not of the rule's form (or not on the list): its order is not known.
std::optional<int> compare_versions(const VersionOrder& order, std::string_view a, std::string_view b);

// One named field of a version ("line" of 27.3.118 is "27"), for pair rules. Nullopt if the rule names no such field or
// the version is not of its form.
std::optional<std::string> version_field(const VersionOrder& order, std::string_view version, std::string_view field);
// The same as a number; nullopt also if it is none.
std::optional<std::int64_t> version_number(const VersionOrder& order, std::string_view version, std::string_view field);

// A pair rule taken apart: "display.line == main.line".
struct PairSides {
    struct Side {
        std::string role, field;
    } left, right;
    std::string op;  // "==", "<=" or ">="
};
std::optional<PairSides> parse_pair(std::string_view text);  // nullopt: not of that form

}  // namespace fettle::family
