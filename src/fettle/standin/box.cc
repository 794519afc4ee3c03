#include "fettle/standin/box.h"

#include <algorithm>

#include "fettle/standin/world.h"

namespace fettle::standin {

struct VirtualSet::State : World {
    explicit State(World w) : World(std::move(w)) {}
};

VirtualSet::VirtualSet(std::unique_ptr<State> state) : state_(std::move(state)) {}
VirtualSet::VirtualSet(const VirtualSet& o) : state_(std::make_unique<State>(*o.state_)) {}
VirtualSet::VirtualSet(VirtualSet&&) noexcept = default;
VirtualSet& VirtualSet::operator=(const VirtualSet& o) {
    if (this != &o) state_ = std::make_unique<State>(*o.state_);
    return *this;
}
VirtualSet& VirtualSet::operator=(VirtualSet&&) noexcept = default;
VirtualSet::~VirtualSet() = default;

Result<VirtualSet> VirtualSet::make(std::shared_ptr<const family::Family> family, StartState start,
                                    std::uint64_t seed) {
    auto w = World::make(std::move(family), std::move(start), seed);
    if (!w) return pass(w);
    return VirtualSet(std::make_unique<State>(std::move(*w)));
}

void VirtualSet::insert_card(card::BlockDevice& device) {
    World& w = *state_;
    w.device = &device;
    w.seen = nullptr;
    if (w.run && w.run->waiting && w.phase == Phase::idle) w.after_boot(false);
}
void VirtualSet::remove_card() {
    state_->device = nullptr;
    state_->seen = nullptr;
}

Status VirtualSet::start_update() {
    return state_->begin_run();
}

std::vector<Event> VirtualSet::advance(double seconds) {
    World& w = *state_;
    w.step_to(w.now_s + std::max(0.0, seconds));
    return std::exchange(w.events, {});
}

std::vector<Event> VirtualSet::advance_to_next(double limit_s) {
    World& w = *state_;
    const double limit = w.now_s + std::max(0.0, limit_s);
    while (w.events.empty() && w.now_s < limit) w.step_to(std::min(limit, w.next_s().value_or(limit)));
    return std::exchange(w.events, {});
}

bool VirtualSet::answer(std::string_view control) {
    World& w = *state_;
    if (!asks() || w.act().control != control) return false;
    for (const auto& a : w.act().answers)
        if (a.how != "nothing") {
            w.answered(a.how, a);
            return true;
        }
    w.next_act();
    return true;
}

bool VirtualSet::feed(std::string_view line) {
    if (line.empty() || sleeps_for() != line) return false;
    state_->wake_up();
    return true;
}

void VirtualSet::connect_partners() {
    state_->start.partners_missing = false;
}

void VirtualSet::cut_power() {
    state_->cut();
}
void VirtualSet::restore_power() {
    state_->restore();
}
bool VirtualSet::powered() const {
    return state_->phase != Phase::off;
}
double VirtualSet::now_s() const {
    return state_->now_s;
}

double VirtualSet::current_A() const {
    const World& w = *state_;
    if (w.phase == Phase::off) return 0;
    // The file has no figure for a set at rest: the least of the acts stands for it.
    const family::Current* c = nullptr;
    if (w.phase == Phase::acting && w.act().current) c = &*w.act().current;
    for (const auto& a : w.family->script)
        if (w.phase != Phase::acting && a.current && (!c || a.current->mean_A < c->mean_A)) c = &*a.current;
    if (!c) return 0;
    const double sd = std::max(0.0, (c->p99_A - c->mean_A) / 2.326);
    return std::max(0.0, c->mean_A + sd * w.draws.normal("amps", static_cast<std::uint64_t>(w.now_s)));
}

bool VirtualSet::running() const {
    return state_->phase == Phase::acting;
}
Ending VirtualSet::ending() const {
    return state_->ending;
}
bool VirtualSet::asks() const {
    return running() && state_->act().kind == family::ActKind::ask;
}
std::string VirtualSet::sleeps_for() const {
    return state_->sleeping() ? state_->act().wake : std::string();
}
std::string VirtualSet::screen() const {
    return state_->screen;
}
TallyCounts VirtualSet::tally() const {
    return state_->counts;
}

Position VirtualSet::position() const {
    const World& w = *state_;
    Position p;
    if (w.phase != Phase::acting) return p;
    p.act = w.act().id;
    double from = w.began_s, to = w.until_s;
    if (w.head < w.jobs.size()) {
        const Job& j = w.jobs[w.head];
        p.cell = j.index;
        p.piece = j.piece;
        from = j.begins_s;
        to = j.ends_s;
    }
    if (to > from && to < 1e17) p.fraction = std::clamp((w.now_s - from) / (to - from), 0.0, 1.0);
    return p;
}

std::vector<BoxNow> VirtualSet::boxes_now() const {
    const World& w = *state_;
    std::vector<BoxNow> out;
    for (const auto& b : w.boxes) {
        BoxNow n{b.role, b.mode, Doing::rests, {}};
        if (w.phase == Phase::acting) n.doing = Doing::running;
        if (w.run && w.run->waiting && b.rule && b.rule->goes_on != "not at all") n.doing = Doing::waits;
        if (b.mode == Mode::bench_repair)
            for (const auto& way : w.family->bench)
                if (way.box == b.role) n.way_in = way.words;
        out.push_back(std::move(n));
    }
    return out;
}

std::vector<PieceState> VirtualSet::installed(std::string_view role) const {
    const World& w = *state_;
    std::vector<PieceState> out;
    if (const BoxWorld* b = w.box(role))
        for (const auto& r : b->regions)
            for (const Cell& c : r.stores[b->store_index(*w.family->region(b->role, r.name), "active")])
                out.insert(out.end(), c.pieces.begin(), c.pieces.end());
    return out;
}
std::string VirtualSet::release(std::string_view role) const {
    const BoxWorld* b = state_->box(role);
    return b ? b->release : std::string();
}
std::int64_t VirtualSet::counter(std::string_view role) const {
    const BoxWorld* b = state_->box(role);
    return b ? b->counter : 0;
}
std::vector<std::string> VirtualSet::history(std::string_view role) const {
    const BoxWorld* b = state_->box(role);
    return b ? b->history : std::vector<std::string>();
}
std::vector<FaultEntry> VirtualSet::faults(std::string_view role) const {
    const BoxWorld* b = state_->box(role);
    return b ? b->faults : std::vector<FaultEntry>();
}

Fate VirtualSet::fate() const {
    return fate_of(*state_);
}

std::optional<Bytes> VirtualSet::uds(std::uint16_t address, ByteView request) {
    return diagnose(*state_, address, request);
}
bool VirtualSet::knows(std::uint16_t address) const {
    const auto& link = state_->family->link;
    return std::any_of(link.begin(), link.end(), [&](const auto& l) { return l.address == address; });
}
bool VirtualSet::reachable(std::uint16_t address) const {
    const World& w = *state_;
    for (const auto& l : w.family->link)
        if (l.address == address)
            if (const BoxWorld* b = w.box(l.role)) return w.reachable(*b);
    return false;
}
std::uint16_t VirtualSet::address_of(std::string_view role) const {
    for (const auto& l : state_->family->link)
        if (l.role == role) return l.address;
    return 0;
}
std::uint16_t VirtualSet::entity_address() const {
    return state_->family->link.empty() ? 0 : state_->family->link.front().address;
}
std::string VirtualSet::vin() const {
    return state_->start.vin;
}

std::string_view words(EventKind k) {
    constexpr std::string_view names[] = {"state", "shows",     "dark",  "back",  "asks",      "answered", "sleeps",
                                          "woken", "restarted", "tally", "ended", "power off", "power on"};
    return names[static_cast<std::size_t>(k)];
}
std::string_view words(Ending e) {
    constexpr std::string_view names[] = {"complete", "card not taken", "stopped", "not ended"};
    return names[static_cast<std::size_t>(e)];
}
std::string_view words(Mode m) {
    constexpr std::string_view names[] = {"off", "starting", "normal", "recovery", "bench repair", "lost"};
    return names[static_cast<std::size_t>(m)];
}

}  // namespace fettle::standin
