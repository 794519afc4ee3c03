// The stand-in's own boot interpreter. Rules are tried in order, per box; what it says about going on is followed here
// and nowhere else.
#include <algorithm>

#include "fettle/standin/world.h"

namespace fettle::standin {

namespace {

// Releases that all these cells belong to.
std::vector<std::string> common_releases(const std::vector<const Cell*>& cells) {
    if (cells.empty()) return {};
    std::vector<std::string> common = cells.front()->of;
    for (const Cell* c : cells) std::erase_if(common, [&](const std::string& r) { return !c->belongs_to(r); });
    return common;
}

// Cells of the regions that a rule needs; nullopt when one of them is torn or a region is unknown.
std::optional<std::vector<const Cell*>> whole_cells(const family::Family& f, const BoxWorld& b,
                                                    const std::vector<std::string>& needs, std::string_view store) {
    std::vector<const Cell*> out;
    for (const auto& name : needs) {
        const auto* rule = f.region(b.role, name);
        const auto* region = b.region(name);
        if (!rule || !region) return std::nullopt;
        for (const Cell& c : region->stores[b.store_index(*rule, store)]) {
            if (c.torn) return std::nullopt;
            out.push_back(&c);
        }
    }
    return out;
}

}  // namespace

bool World::holds(const BoxWorld& b, const family::BootRule& rule) const {
    if (rule.box != b.role) return false;
    for (const auto& [flag, value] : rule.when) {
        const auto f = b.flags.find(flag);
        if (f == b.flags.end() || f->second != value) return false;
    }
    const auto cells = whole_cells(*family, b, rule.needs, rule.store);
    if (!cells) return false;
    return rule.consistency == "any" || cells->empty() || !common_releases(*cells).empty();
}

// Starts one box: sets its mode and the rule it started by.
void World::boot(BoxWorld& b) {
    const auto rule =
        std::find_if(family->boot.begin(), family->boot.end(), [&](const auto& r) { return holds(b, r); });
    b.session = 1;
    if (rule == family->boot.end()) {
        b.rule = nullptr;
        b.mode = Mode::lost;
        for (const auto& way : family->bench)
            if (way.box == b.role && whole_cells(*family, b, way.needs, "active")) b.mode = Mode::bench_repair;
    } else {
        b.rule = &*rule;
        b.mode = rule->mode == "normal" ? Mode::normal : Mode::recovery;
        if (b.mode == Mode::normal) {
            // A system that comes up knows its own release, and raises the rollback counter at its first start.
            const auto cells = whole_cells(*family, b, rule->needs, rule->store);
            const auto common = common_releases(*cells);
            const bool still = std::find(common.begin(), common.end(), b.release) != common.end();
            const bool is_new = run && std::find(common.begin(), common.end(), run->release()) != common.end();
            if (is_new) {
                if (b.release != run->release()) b.history.push_back(run->release());
                b.release = run->release();
                if (run->card->release->counter) b.counter = std::max(b.counter, *run->card->release->counter);
            } else if (!still && !common.empty()) {
                b.release = common.front();
            }
        }
    }
    if (b.mode == Mode::normal) test_again(b);
    Event& e = tell(EventKind::restarted);
    e.box = b.role;
    e.mode = std::string(words(b.mode));
}

bool World::cause_is_there(const FaultEntry& entry) const {
    return start.partners_missing && std::any_of(family->faults.begin(), family->faults.end(), [&](const auto& n) {
               return n.code == entry.code && n.explained_by == "partner not on the bench";
           });
}

// A start is a new operation cycle, and every test runs in it: what was cleared and is good now is told no more, what
// was failing and is good now stays stored.
void World::test_again(BoxWorld& b) {
    std::erase_if(b.faults, [&](const FaultEntry& e) { return (e.status & 0xAF) == 0 && !cause_is_there(e); });
    for (FaultEntry& e : b.faults)
        e.status = cause_is_there(e) ? std::uint8_t{0x2F} : static_cast<std::uint8_t>(e.status & ~0x57u);
}

// What follows once boxes are up: goes the run on, by what, and from where?
void World::after_boot(bool planned) {
    phase = Phase::idle;
    jobs.clear();
    if (run && !planned && !run->changed)
        run.reset();  // nothing was noted on the medium: there is no run to go on with
    if (!run) return;
    run->waiting = false;
    for (const auto& b : boxes)
        if (b.mode == Mode::bench_repair || b.mode == Mode::lost) {
            run->halted = true;
            return;
        }
    // A planned restart has its own durable mark: once its boxes are up as meant, it is over, however often power went.
    bool past_restart = false;
    if (act().kind == family::ActKind::restart) {
        past_restart = true;
        for (const auto& b : boxes)
            if ((act().box == "all" || act().box == b.role) && !act().into.empty() &&
                (!b.rule || b.rule->mode != act().into))
                past_restart = false;
    }
    const family::BootRule* driver = nullptr;
    for (const auto& b : boxes)
        if (!driver && b.rule && b.rule->goes_on != "not at all") driver = b.rule;
    if (driver) {
        take_up(*driver, past_restart, planned);
        return;
    }
    if (past_restart) {
        if (!planned) run->by_itself = true;
        next_act();
        return;
    }
    run->halted = true;
}

void World::take_up(const family::BootRule& rule, bool past_restart, bool planned) {
    if (rule.goes_on == "with the card") {
        const auto card = look_at_card();
        const bool same = card && card->release && card->at_reading.empty() && card->at_comparing.empty() &&
                          run->card && card->release->index_sha256 == run->card->release->index_sha256;
        if (!same) {
            run->waiting = true;
            return;
        }
        if (!planned) run->with_card = true;
    } else if (!planned) {
        run->by_itself = true;
    }
    run->halted = false;
    if (past_restart) {
        next_act();
        return;
    }
    if (rule.from != "same cell") run->rewrite = rule.whole_new_cells != "kept";
    if (rule.from == "start") {
        run->act = 0;
        run->flag_set = false;
        run->planned = false;
    }
    enter_act();
}

// Every rule of the family's net, for every box that has one.
bool World::net_holds() const {
    return std::all_of(family->boot.begin(), family->boot.end(), [&](const family::BootRule& rule) {
        const BoxWorld* b = box(rule.box);
        return !rule.net || (b && holds(*b, rule));
    });
}

}  // namespace fettle::standin
