// The stand-in: a virtual set of boxes that takes a real card image, checks it by its own rules, runs the family's step
// script on a virtual clock, writes its own cells, restarts, asks, and can be cut at any instant; then it follows its
// own boot interpreter. It stands for the box, not for the planner: it knows the family file, the card and its cells,
// and shares no code with change, forecast, cutmap, route, watch or prove, so that holding them against it can fail.
//
// A VirtualSet is a value: a copy is a snapshot that lives on by itself. Everything follows from the seed. It never
// asks a real clock and never waits; advance() moves its time. Not for several threads at once (see server.h).
//
// What it does not model: sags that corrupt, a card pulled out in mid-write, boxes on different supplies.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/card/block_device.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::standin {

// --- how it starts ------------------------------------------------------------------------------------------------

struct PieceState {
    std::string region, name, version, sha256;
    std::uint64_t bytes = 0;
    bool operator==(const PieceState&) const = default;
};

struct BoxStart {
    std::string plate;
    std::string serial;
    std::string release;
    std::string market;
    std::int64_t counter = 0;  // rollback counter: a release with a lower one is refused
    std::vector<PieceState> pieces;
};

struct FaultEntry {
    std::string code;
    std::uint8_t status = 0;
    bool operator==(const FaultEntry&) const = default;
};

enum class Clears { each, only_all, no };  // which requests to clear it takes

struct StartState {
    std::map<std::string, BoxStart> boxes;  // role → box; every role of the family
    std::string vin = "ZZ9FETTL70BENCH01";  // 17 characters; unassigned maker
    bool partners_missing = false;          // a bench: fault entries of absent partners are there and failing
    bool answers_asks = false;              // somebody stands by and answers every ask after the act's own time
    bool must_be_woken = false;             // a bench: an act that names a line under `wake` lasts until feed() of it
    bool refuses_older = false;             // pieces older than installed are refused (counted, not written)
    std::map<std::string, std::vector<FaultEntry>> stored;  // role → entries that stand in its memory
    Clears clears = Clears::each;
    std::vector<std::string> history;  // releases that it came up with before, oldest first
};

// A set on which `installed` was put: the pieces that apply to each plate, that release, its counter. plates: role →
// plate, every role of the family. bad_input when a role has no plate or a plate does not fit the role.
Result<StartState> start_at(const family::Family& family, const family::Release& installed,
                            const std::map<std::string, std::string>& plates, const std::string& market);

// --- what is seen -------------------------------------------------------------------------------------------------

struct TallyCounts {
    int landed = 0, passed_over = 0, refused = 0, to_come = 0;
    bool operator==(const TallyCounts&) const = default;
};

enum class EventKind {
    state,      // an act began: `act`
    shows,      // the box shows `text`
    dark,       // the screen went dark
    back,       // the screen came back
    asks,       // `text` and `control`: somebody must act
    answered,   // the ask was answered (or its time ran out: text says which)
    sleeps,     // it waits until the line in `text` is fed; nothing of it can be seen
    woken,      // that line was fed
    restarted,  // `box` came up in `mode`
    tally,      // `tally` changed
    ended,      // `ending` says how
    power_off,
    power_on,
};
std::string_view words(EventKind k);  // "state", "shows", …

enum class Ending {
    complete,      // every act done
    refused_card,  // the card was not taken; nothing was changed (text says why, as the box shows it)
    stopped,       // an ask ran out and its answer stops the run
    none_yet,
};
std::string_view words(Ending e);

struct Event {
    double at_s = 0;  // virtual time since make()
    EventKind kind = EventKind::state;
    std::string act;  // the act it belongs to; empty outside a run
    std::string text;
    std::string box, mode, control;
    TallyCounts tally;
    Ending ending = Ending::none_yet;
};

// Where the run is. cell: 0-based among the cells that this act writes (pieces to be written, in index order); -1 in
// acts that write nothing. Exactly one position per instant.
struct Position {
    std::string act;  // empty: no run under way
    int cell = -1;
    double fraction = 0;  // of that cell, or of the act
    std::string piece;    // under the head
};

enum class Mode { off, starting, normal, recovery, bench_repair, lost };
std::string_view words(Mode m);

enum class Doing {
    running,  // a run is under way
    waits,    // would go on with the card, and has none that it takes
    rests,    // nothing goes on by itself
};

// What a box does now.
struct BoxNow {
    std::string role;
    Mode mode = Mode::normal;
    Doing doing = Doing::rests;
    std::string way_in;  // for bench_repair: the family's words
};

// What became of a cut, seen by letting it run on. The words are those of the power-cut map, arrived at on their own;
// never_ends is a run that goes on and on without coming to its end.
enum class Fate {
    nothing_changed,
    goes_on_by_itself,
    same_card,
    rests_unfinished,
    starts_no_net,
    bench_repair,
    lost,
    done,
    never_ends,
};
std::string_view words(Fate f);

class VirtualSet {
public:
    // bad_input when the family cannot run (no script, no boot order) or the start state does not fit it.
    static Result<VirtualSet> make(std::shared_ptr<const family::Family> family, StartState start, std::uint64_t seed);

    // The device must outlive this set and every copy, or be taken out. What is on it is read when the box reads it.
    void insert_card(card::BlockDevice& device);
    void remove_card();

    // Somebody starts the update at the box. usage error while a run is under way, without power or in a mode that
    // offers none.
    Status start_update();

    // Lets the virtual time pass and tells what happened in it, in order. Ends early for nobody.
    std::vector<Event> advance(double seconds);
    // The same until something is seen (an event happened, or limit_s has passed).
    std::vector<Event> advance_to_next(double limit_s);

    // Somebody answers an ask with "knob", "touch" or "key". False when nothing was asked or by another control.
    bool answer(std::string_view control);

    // Somebody feeds a line ("ignition"). False when nothing sleeps until that line is fed: then nothing happens.
    bool feed(std::string_view line);

    // It is fitted in the vehicle: partners answer. What was failing for want of them is tested again at the next
    // start.
    void connect_partners();

    void cut_power();      // all boxes at once; does nothing without power
    void restore_power();  // boots by the boot rules; does nothing with power
    bool powered() const;

    double now_s() const;
    double current_A() const;  // of the whole set: the act's mean with a little noise; 0 without power
    bool running() const;
    Ending ending() const;           // of the last run
    bool asks() const;               // an ask is open
    std::string sleeps_for() const;  // the line that it sleeps for; empty: it does not
    std::string screen() const;      // what is shown; empty when dark
    TallyCounts tally() const;
    Position position() const;
    std::vector<BoxNow> boxes_now() const;

    std::vector<PieceState> installed(std::string_view role) const;  // pieces that the box holds, torn ones left out
    std::string release(std::string_view role) const;                // that the box shows in its version view
    std::int64_t counter(std::string_view role) const;
    std::vector<std::string> history(std::string_view role) const;  // releases that it came up with, oldest first
    std::vector<FaultEntry> faults(std::string_view role) const;

    // What a cut at this instant leads to (or led to, when power is off already): a copy is cut, gets power back with
    // the card that is in, every ask answered, and is run on to its rest. rests_unfinished also when it waits for a
    // card that is not in. Does not change this set.
    Fate fate() const;

    // The diagnostic side. nullopt: no answer (dark, starting, off, no such address, or suppressed).
    std::optional<Bytes> uds(std::uint16_t address, ByteView request);
    bool knows(std::uint16_t address) const;                // some box of the set has it
    bool reachable(std::uint16_t address) const;            // there and answering
    std::uint16_t address_of(std::string_view role) const;  // on the link; 0: it is not there
    std::uint16_t entity_address() const;  // of the first box on the link; 0 when the family has no link
    std::string vin() const;

    VirtualSet(const VirtualSet&);
    VirtualSet(VirtualSet&&) noexcept;
    VirtualSet& operator=(const VirtualSet&);
    VirtualSet& operator=(VirtualSet&&) noexcept;
    ~VirtualSet();

private:
    struct State;
    explicit VirtualSet(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::standin
