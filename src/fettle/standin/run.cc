// The step script as the box runs it, act by act.
#include <fmt/format.h>

#include <algorithm>

#include "fettle/standin/world.h"

namespace fettle::standin {

namespace {

bool applies(const family::Piece& p, const BoxWorld& b) {
    return p.issues.empty() || std::find(p.issues.begin(), p.issues.end(), b.issue) != p.issues.end();
}

const PieceState* piece_in(const Store& store, const std::string& name) {
    for (const Cell& c : store)
        if (!c.torn)
            for (const PieceState& p : c.pieces)
                if (p.name == name) return &p;
    return nullptr;
}

bool equal(const PieceState& a, const PieceState& b) {
    return a.version == b.version && a.sha256 == b.sha256;
}

Cell& cell_named(Store& store, const std::string& name, const std::string& not_of) {
    const auto c = std::find_if(store.begin(), store.end(), [&](const Cell& x) { return x.name == name; });
    if (c != store.end()) return *c;
    // A place where nothing was ever written: as much part of the releases before as its neighbours.
    std::vector<std::string> of;
    for (const Cell& x : store)
        for (const auto& r : x.of)
            if (r != not_of && std::find(of.begin(), of.end(), r) == of.end()) of.push_back(r);
    store.push_back({name, false, {}, std::move(of)});
    return store.back();
}

}  // namespace

double World::shared_factor() const {
    return std::exp(shared_sd * draws.normal("pace", run ? run->number : 0));
}

double World::act_seconds(const family::Act& a, std::uint64_t entry) const {
    if (!a.seconds) return 0;
    return a.seconds->median_s * shared_factor() * std::exp(own_sd(sd_of(*a.seconds)) * draws.normal("act", entry));
}

Status World::begin_run() {
    const auto no = [&](const char* problem, const char* next) {
        return usage_error("no-start-now", "stand-in", problem, next);
    };
    if (phase == Phase::off) return no("it has no power", "switch power on first");
    if (phase != Phase::idle) return no("it is busy", "wait until it rests");
    if (!device) return no("no card is in", "insert a card first");
    for (const auto& b : boxes)
        if (b.mode == Mode::bench_repair || b.mode == Mode::lost)
            return no("a box does not start", "that is for a repair shop equipped for it");
    if (run) {  // an unfinished run: taken up again if the box's start rule lets it
        for (const auto& b : boxes)
            if (b.rule && b.rule->goes_on != "not at all") {
                take_up(*b.rule, false, false);
                if (phase == Phase::acting || !run || !run->waiting) return {};
                return no("the card is not the one that the unfinished run began with", "insert that one");
            }
    }
    Run r;
    r.number = ++runs;
    r.as_found = std::make_shared<const std::vector<BoxWorld>>(boxes);
    run = std::move(r);
    ending = Ending::none_yet;
    counts = {};
    enter_act();
    return {};
}

void World::enter_act() {
    const family::Act& a = act();
    const std::uint64_t entry = ++entries;
    phase = Phase::acting;
    began_s = until_s = now_s;
    jobs.clear();
    head = 0;
    ask_closes_s.reset();
    asleep = false;
    tell(EventKind::state).text = a.words;
    go_dark(a.dark);
    if (!a.shows.empty() && a.kind != family::ActKind::end) show(a.shows);
    if (!run->planned && (a.kind == family::ActKind::write || a.kind == family::ActKind::set)) plan_run();
    if (!run) return;
    switch (a.kind) {
        case family::ActKind::write: {
            jobs = cells_of(a, true);
            const auto* rule = family->region(a.box, a.region);
            const double noise = shared_factor() * std::exp(own_sd(rule->spread) * draws.normal("write", entry));
            for (Job& j : jobs) {
                std::uint64_t bytes = 0;
                for (const auto& p : j.pieces) bytes += p.bytes;
                const double n = static_cast<double>(rule->written_as == "image" ? 1 : j.pieces.size());
                const double s =
                    rule->overhead_s * n +
                    (rule->rate_mib_s > 0 ? static_cast<double>(bytes) / (rule->rate_mib_s * 1048576.0) : 0.0);
                j.begins_s = until_s;
                until_s = j.ends_s = until_s + s * noise;
            }
            if (!jobs.empty()) run->changed = true;
            break;
        }
        case family::ActKind::set: {
            run->changed = true;
            if (!run->flag_set) {  // taken up in this very act: it is set already, "other" must not turn it back
                std::string& flag = box(a.box)->flags[a.flag];
                flag = a.value == "other" ? (flag == "a" ? "b" : "a") : a.value;
                run->flag_set = true;
            }
            until_s += act_seconds(a, entry);
            break;
        }
        case family::ActKind::ask: {
            Event& e = tell(EventKind::asks);
            e.text = a.shows;
            e.control = a.control;
            for (const auto& answer : a.answers)
                if (answer.how == "nothing") ask_closes_s = now_s + answer.after_s;
            until_s = start.answers_asks ? now_s + act_seconds(a, entry) : 1e18;
            break;
        }
        case family::ActKind::restart:
            run->changed = true;  // a durable mark
            for (auto& b : boxes)
                if (a.box == "all" || a.box == b.role) b.mode = Mode::starting;
            until_s += act_seconds(a, entry);
            break;
        default: until_s += act_seconds(a, entry); break;
    }
    asleep = !a.wake.empty() && start.must_be_woken;
    if (asleep) tell(EventKind::sleeps).text = a.wake;
}

// The line is fed: from here the act lasts as long as it would have.
void World::wake_up() {
    tell(EventKind::woken).text = act().wake;
    asleep = false;
    until_s += now_s - began_s;
}

// The act's time is over.
void World::finish_act() {
    const family::Act& a = act();
    switch (a.kind) {
        case family::ActKind::read: {
            const auto card = look_at_card();
            std::string text = !card ? std::string("No card") : card->at_reading;
            if (text.empty()) text = refusal_by_identity(*card->release);
            if (!text.empty()) return end_run(Ending::refused_card, text);
            break;
        }
        case family::ActKind::compare:
            plan_run();
            if (!run) return;
            break;
        case family::ActKind::write:
            if (a.forced) recent.clear();
            break;
        case family::ActKind::restart:
            recent.clear();
            go_dark(false);
            for (auto& b : boxes)
                if (a.box == "all" || a.box == b.role) boot(b);
            return after_boot(true);
        case family::ActKind::end:
            if (!a.shows.empty()) show(a.shows);
            return end_run(Ending::complete);
        default: break;
    }
    next_act();
}

void World::next_act() {
    if (run->act + 1 >= family->script.size()) return end_run(Ending::complete);
    ++run->act;
    run->flag_set = false;
    enter_act();
}

void World::end_run(Ending how, const std::string& text) {
    if (!text.empty()) show(text);
    Event& e = tell(EventKind::ended);
    e.ending = how;
    e.text = text;
    ending = how;
    phase = Phase::idle;
    jobs.clear();
    ask_closes_s.reset();
    asleep = false;
    if (how == Ending::complete || !run->changed)
        run.reset();
    else
        run->halted = true;
}

// What is to be done with each piece, decided once the card was read; the release is known to be whole from here on.
void World::plan_run() {
    const auto card = look_at_card();
    std::string text = !card                       ? std::string("No card")
                       : !card->at_reading.empty() ? card->at_reading
                                                   : card->at_comparing;
    if (text.empty()) text = refusal_by_identity(*card->release);
    if (!text.empty()) return end_run(Ending::refused_card, text);
    run->card = card;
    run->planned = true;
    run->plan.clear();
    for (const auto& p : card->release->pieces) {
        BoxWorld* b = box(p.box);
        const auto* rule = family->region(p.box, p.region);
        if (!b || !rule) continue;
        Class c = Class::write;
        const PieceState* there = piece_in(b->region(p.region)->stores[b->store_index(*rule, "active")], p.name);
        if (!applies(p, *b)) {
            c = family->tally && family->tally->counts_not_applying ? Class::passed_over : Class::not_mine;
        } else if (there && equal(*there, piece_state(p)) && !run->landed.contains(key_of(p.box, p.name))) {
            c = Class::passed_over;
        } else if (there && start.refuses_older) {
            const auto order = family::compare_versions(family->order, p.version, there->version);
            if (order && *order < 0) c = Class::refused;
        }
        run->plan[key_of(p.box, p.name)] = c;
    }
    count();
}

// The cells of a write act, in index order, that still have to be written. settle: what needs no writing is put in
// order on the way (a piece that stays also belongs to the new release; in a spare store it is carried over).
std::vector<Job> World::cells_of(const family::Act& a, bool settle) {
    std::vector<Job> out;
    const auto* rule = family->region(a.box, a.region);
    BoxWorld* b = box(a.box);
    if (!rule || !b || !run || !run->card) return out;
    RegionWorld& region = *b->region(a.region);
    const std::size_t at = b->store_index(*rule, a.store.empty() ? "active" : a.store);
    const std::string release = run->release();

    // One entry per cell: a piece, or all pieces of an image.
    struct Wish {
        std::string name;
        std::vector<PieceState> pieces;
        bool write = false;
    };
    std::vector<Wish> wishes;
    for (const auto& p : run->card->release->pieces) {
        if (p.box != a.box || p.region != a.region || !applies(p, *b)) continue;
        const bool write = run->plan[key_of(p.box, p.name)] == Class::write;
        const std::string name = region.image ? region.name : p.name;
        const auto w = std::find_if(wishes.begin(), wishes.end(), [&](const Wish& x) { return x.name == name; });
        if (w == wishes.end()) {
            wishes.push_back({name, {piece_state(p)}, write});
        } else {
            w->pieces.push_back(piece_state(p));
            w->write = w->write || write;
        }
    }
    int index = 0;
    for (const Wish& w : wishes) {
        Cell& c = cell_named(region.stores[at], w.name, release);
        const auto here = static_cast<std::size_t>(&c - region.stores[at].data());
        const bool whole_new = !c.torn && c.pieces == w.pieces;
        if (!w.write) {
            if (settle && !whole_new && region.copies == 2)
                for (const Cell& from : region.stores[1 - at])
                    if (from.name == w.name && !from.torn) c = from;
            if (settle && !c.torn) c.also_of(release);
            continue;
        }
        const int mine = index++;
        if (whole_new && !run->rewrite) {
            if (settle) c.also_of(release);
            continue;
        }
        const auto which = static_cast<std::size_t>(b - boxes.data());
        const auto r = static_cast<std::size_t>(&region - b->regions.data());
        out.push_back({which, r, at, here, mine, w.pieces, w.pieces.size() == 1 ? w.pieces[0].name : w.name, 0, 0});
    }
    if (settle)  // pieces that the release does not name stay, and are no hindrance
        for (Cell& c : region.stores[at])
            if (std::none_of(wishes.begin(), wishes.end(), [&](const Wish& w) { return w.name == c.name; }) && !c.torn)
                c.also_of(release);
    return out;
}

void World::land(const Job& j) {
    Cell& c = boxes[j.box].regions[j.region].stores[j.store][j.cell];
    recent.push_back({j, c, family->region(boxes[j.box].role, boxes[j.box].regions[j.region].name)->buffered_s});
    c.torn = false;
    c.pieces = j.pieces;
    c.of = {run->release()};
    for (const auto& p : j.pieces)
        if (run->plan[key_of(boxes[j.box].role, p.name)] == Class::write)
            run->landed.insert(key_of(boxes[j.box].role, p.name));
    count();
}

void World::count() {
    TallyCounts t;
    for (const auto& [key, c] : run->plan) {
        if (c == Class::passed_over) ++t.passed_over;
        if (c == Class::refused) ++t.refused;
        if (c == Class::write) ++(run->landed.contains(key) ? t.landed : t.to_come);
    }
    if (t == counts) return;
    counts = t;
    if (family->tally) tell(EventKind::tally).tally = t;
}

void World::answered(const std::string& how, const family::Answer& answer) {
    const family::Act& a = act();
    tell(EventKind::answered).text = how;
    ask_closes_s.reset();
    if (how == "nothing")
        for (const auto& f : family->faults)
            if (f.explained_by == "skipped ask" && (f.ask.empty() || f.ask == a.id)) {
                auto& list = box(a.box)->faults;
                const auto there =
                    std::find_if(list.begin(), list.end(), [&](const FaultEntry& e) { return e.code == f.code; });
                if (there == list.end()) list.push_back({f.code, 0x28});  // stored, not failing now
            }
    if (answer.leads_to == "stops") return end_run(Ending::stopped);
    next_act();
}

}  // namespace fettle::standin
