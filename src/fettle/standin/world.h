// Inside the stand-in only: everything a virtual set is made of. A World is a value. The parts of it stand in files of
// their own: world.cc moves the time, run.cc does the acts, boot.cc starts boxes, take_card.cc reads the card,
// diagnose.cc answers requests, fate.cc looks ahead.
#pragma once

#include <array>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/standin/box.h"
#include "fettle/standin/draws.h"

namespace fettle::standin {

// The smallest thing written as a whole: a piece, or a region written as one image.
struct Cell {
    std::string name;
    bool torn = false;
    std::vector<PieceState> pieces;  // what is in it; empty and not torn: nothing was ever written here
    std::vector<std::string> of;     // releases that this content belongs to

    bool belongs_to(const std::string& release) const;
    void also_of(const std::string& release);
    bool same_content(const Cell& other) const { return torn == other.torn && pieces == other.pieces; }
};
using Store = std::vector<Cell>;

struct RegionWorld {
    std::string name;
    bool image = false;
    int copies = 1;
    std::array<Store, 2> stores;
};

struct BoxWorld {
    std::string role, plate, issue, serial, market, release;
    std::int64_t counter = 0;
    std::vector<RegionWorld> regions;
    std::map<std::string, std::string> flags;
    std::vector<FaultEntry> faults;
    std::vector<std::string> history;  // releases that it came up with
    Mode mode = Mode::normal;
    const family::BootRule* rule = nullptr;  // by which it started; the family outlives every World
    std::uint8_t session = 1;

    RegionWorld* region(std::string_view wanted);
    const RegionWorld* region(std::string_view wanted) const;
    // Index of the store that "active" or "spare" means now; 0 for a region with one store.
    std::size_t store_index(const family::Region& layout, std::string_view which) const;
};

// What the box made of the card. A text for the screen in `at_reading` or `at_comparing`: not taken.
struct CardContents {
    std::optional<family::Release> release;
    std::string at_reading;
    std::string at_comparing;
};

enum class Class { not_mine, write, passed_over, refused };  // not_mine: for other hardware, in no count

// One execution of the script. What a real box would keep on its medium is what survives a cut.
struct Run {
    std::uint64_t number = 0;
    std::shared_ptr<const CardContents> card;
    std::size_t act = 0;
    std::map<std::string, Class> plan;  // "box/piece"
    bool planned = false;
    bool rewrite = false;  // cells already whole and new are written again
    std::set<std::string> landed;
    std::shared_ptr<const std::vector<BoxWorld>> as_found;
    bool changed = false;    // something was written or a flag was set
    bool flag_set = false;   // the present act has set its flag: noted together with the flag itself
    bool by_itself = false;  // it went on without anybody's doing
    bool with_card = false;  // it went on because the card was there
    bool waiting = false;    // would go on with the card
    bool halted = false;     // nothing goes on until a person starts it

    std::string release() const { return card && card->release ? card->release->release : std::string(); }
};

// A cell to be written in the present act, and when.
struct Job {
    std::size_t box = 0, region = 0, store = 0, cell = 0;
    int index = 0;  // among all cells that this act writes in this run
    std::vector<PieceState> pieces;
    std::string piece;  // for people
    double begins_s = 0, ends_s = 0;
};

// Written and reported, but perhaps not on the medium yet.
struct Recent {
    Job job;
    Cell before;
    std::optional<double> buffered_s;
};

enum class Phase { off, starting, idle, acting };

struct World {
    World(std::shared_ptr<const family::Family> f, std::uint64_t seed) : family(std::move(f)), draws(seed) {}

    std::shared_ptr<const family::Family> family;
    Draws draws;
    StartState start;
    std::vector<BoxWorld> boxes;
    card::BlockDevice* device = nullptr;
    std::shared_ptr<const CardContents> seen;  // of the card that is in

    double now_s = 0;
    Phase phase = Phase::idle;
    double until_s = 0;  // end of starting, or of the act
    double began_s = 0;  // of the act
    std::vector<Job> jobs;
    std::size_t head = 0;
    std::vector<Recent> recent;
    std::optional<double> ask_closes_s;  // when "nothing" counts as an answer
    bool asleep = false;                 // in this act, until the line that it names is fed
    std::uint64_t entries = 0;           // acts begun, for the draws
    std::uint64_t cuts = 0;
    std::uint64_t runs = 0;
    std::optional<Run> run;
    Ending ending = Ending::none_yet;
    std::string screen;
    bool dark = false;
    TallyCounts counts;
    std::vector<Event> events;

    // --- world.cc: time and power
    Result<World> static make(std::shared_ptr<const family::Family> family, StartState start, std::uint64_t seed);
    std::optional<double> next_s() const;
    void step_to(double t);
    void happen();
    void cut();
    void restore();
    Event& tell(EventKind kind);
    void show(const std::string& text);
    void go_dark(bool is_dark);

    // --- run.cc: the script
    const family::Act& act() const { return family->script[run->act]; }
    Status begin_run();
    void enter_act();
    void finish_act();
    void next_act();
    void end_run(Ending how, const std::string& text = {});
    void plan_run();
    std::vector<Job> cells_of(const family::Act& act, bool settle);
    void land(const Job& job);
    void count();
    void answered(const std::string& how, const family::Answer& answer);
    bool sleeping() const { return phase == Phase::acting && asleep; }
    void wake_up();
    double act_seconds(const family::Act& act, std::uint64_t entry) const;
    double shared_factor() const;

    // --- boot.cc
    bool holds(const BoxWorld& box, const family::BootRule& rule) const;
    void boot(BoxWorld& box);
    void test_again(BoxWorld& box);
    bool cause_is_there(const FaultEntry& entry) const;
    void after_boot(bool planned_restart_done);
    void take_up(const family::BootRule& rule, bool past_restart, bool planned);
    bool net_holds() const;

    // --- take_card.cc
    std::shared_ptr<const CardContents> look_at_card();
    std::string refusal_by_identity(const family::Release& release) const;

    // --- small
    BoxWorld* box(std::string_view role);
    const BoxWorld* box(std::string_view role) const;
    bool all_as_found() const;
    bool reachable(const BoxWorld& b) const;
};

std::optional<Bytes> diagnose(World& world, std::uint16_t address, ByteView request);
Fate fate_of(World world);

// Digest by which a piece's content is known: of its file, or of its files' digests joined.
std::string content_digest(const family::Piece& piece);
PieceState piece_state(const family::Piece& piece);
std::string key_of(const std::string& box, const std::string& piece);

}  // namespace fettle::standin
