#include "fettle/standin/world.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/family/label.h"

namespace fettle::standin {

namespace {
constexpr double usual_start_s = 30;  // where the script has no restart to go by
constexpr int most_at_once = 10000;   // happenings without time passing: a script that never ends
}  // namespace

bool Cell::belongs_to(const std::string& release) const {
    return std::find(of.begin(), of.end(), release) != of.end();
}
void Cell::also_of(const std::string& release) {
    if (!belongs_to(release)) of.push_back(release);
}

RegionWorld* BoxWorld::region(std::string_view wanted) {
    for (auto& r : regions)
        if (r.name == wanted) return &r;
    return nullptr;
}
const RegionWorld* BoxWorld::region(std::string_view wanted) const {
    return const_cast<BoxWorld*>(this)->region(wanted);
}

std::size_t BoxWorld::store_index(const family::Region& layout, std::string_view which) const {
    if (layout.stores != 2) return 0;
    const auto flag = flags.find(layout.selected_by);
    const std::size_t active = flag != flags.end() && flag->second == "b" ? 1 : 0;
    return which == "spare" ? 1 - active : active;
}

BoxWorld* World::box(std::string_view role) {
    for (auto& b : boxes)
        if (b.role == role) return &b;
    return nullptr;
}
const BoxWorld* World::box(std::string_view role) const {
    return const_cast<World*>(this)->box(role);
}

// --- making --------------------------------------------------------------------------------------------------------

Result<World> World::make(std::shared_ptr<const family::Family> f, StartState start, std::uint64_t seed) {
    const auto no = [](std::string place, std::string problem, std::string next) {
        return bad_input("no-stand-in", std::move(place), std::move(problem), std::move(next));
    };
    if (f->script.empty())
        return no("family " + f->id, "it has no step script", "add [[act]] tables to the family file");
    if (f->boot.empty())
        return no("family " + f->id, "its boot order is not known",
                  "a stand-in needs [[boot]] tables; a guess would teach wrong things");
    World w(f, seed);
    for (const auto& rule : f->boxes) {
        const auto s = start.boxes.find(rule.role);
        if (s == start.boxes.end())
            return no("start state", "box " + rule.role + " is missing", "give every box of the family");
        auto matcher = family::LabelMatcher::make(rule.plate);
        if (!matcher) return pass(matcher);
        const auto fields = matcher->fields(s->second.plate);
        if (!fields || !matcher->check_agrees(*fields))
            return no("plate " + s->second.plate, "it is no plate of the " + rule.words,
                      "give a plate as the family file describes it");
        BoxWorld b;
        b.role = rule.role;
        b.plate = s->second.plate;
        b.issue = family::field_text(*fields, "issue");
        b.serial = s->second.serial;
        b.market = s->second.market;
        b.release = s->second.release;
        b.history = start.history;
        b.history.push_back(b.release);
        b.counter = s->second.counter;
        for (const auto& flag : f->flags)
            if (flag.box == b.role) b.flags[flag.name] = flag.start;
        for (const auto& r : f->regions) {
            if (r.box != b.role) continue;
            RegionWorld region{r.name, r.written_as == "image", r.stores, {}};
            for (const auto& p : s->second.pieces) {
                if (p.region != r.name) continue;
                if (region.image && !region.stores[0].empty())
                    region.stores[0][0].pieces.push_back(p);
                else
                    region.stores[0].push_back({region.image ? r.name : p.name, false, {p}, {b.release}});
            }
            if (r.stores == 2) region.stores[1] = region.stores[0];
            b.regions.push_back(std::move(region));
        }
        for (const auto& p : s->second.pieces)
            if (!f->region(b.role, p.region))
                return no("piece " + p.name, "region " + p.region + " is none of the " + rule.words,
                          "check the start state");
        w.boxes.push_back(std::move(b));
    }
    if (start.partners_missing)
        for (const auto& fault : f->faults)
            if (fault.explained_by == "partner not on the bench") w.boxes.front().faults.push_back({fault.code, 0x2F});
    w.start = std::move(start);
    for (auto& b : w.boxes) {
        w.boot(b);
        if (b.mode == Mode::bench_repair || b.mode == Mode::lost)
            return no("start state of the " + b.role, "by the family's boot rules this box would not start",
                      "give pieces for every region that starting needs");
    }
    for (auto& b : w.boxes)
        if (const auto s = w.start.stored.find(b.role); s != w.start.stored.end())
            b.faults.insert(b.faults.end(), s->second.begin(), s->second.end());
    w.events.clear();
    return w;
}

Result<StartState> start_at(const family::Family& f, const family::Release& installed,
                            const std::map<std::string, std::string>& plates, const std::string& market) {
    StartState out;
    for (const auto& rule : f.boxes) {
        const auto plate = plates.find(rule.role);
        if (plate == plates.end())
            return bad_input("no-stand-in", "plates", "the plate of the " + rule.words + " is missing",
                             "give one plate per box of the family");
        auto matcher = family::LabelMatcher::make(rule.plate);
        if (!matcher) return pass(matcher);
        const auto fields = matcher->fields(plate->second);
        if (!fields || !matcher->check_agrees(*fields))
            return bad_input("no-stand-in", "plate " + plate->second, "it is no plate of the " + rule.words,
                             "give a plate as the family file describes it");
        const std::string issue = family::field_text(*fields, "issue");
        BoxStart b{plate->second, "S" + plate->second.substr(0, 7), installed.release,
                   market,        installed.counter.value_or(0),    {}};
        for (const auto& p : installed.pieces) {
            const bool here = p.issues.empty() || std::find(p.issues.begin(), p.issues.end(), issue) != p.issues.end();
            if (p.box == rule.role && here) b.pieces.push_back(piece_state(p));
        }
        out.boxes[rule.role] = std::move(b);
    }
    out.refuses_older = f.refuses_older;
    return out;
}

// --- telling -------------------------------------------------------------------------------------------------------

Event& World::tell(EventKind kind) {
    Event e;
    e.at_s = now_s;
    e.kind = kind;
    if (run && phase == Phase::acting) e.act = act().id;
    events.push_back(std::move(e));
    return events.back();
}

void World::show(const std::string& text) {
    if (text == screen) return;
    screen = text;
    tell(EventKind::shows).text = text;
}

void World::go_dark(bool is_dark) {
    if (is_dark == dark) return;
    dark = is_dark;
    screen.clear();
    tell(dark ? EventKind::dark : EventKind::back);
}

// --- time ----------------------------------------------------------------------------------------------------------

std::optional<double> World::next_s() const {
    if (phase == Phase::starting) return until_s;
    if (phase != Phase::acting || asleep) return std::nullopt;
    if (act().kind == family::ActKind::write && head < jobs.size()) return jobs[head].ends_s;
    if (act().kind == family::ActKind::ask) {
        const double next = std::min(until_s, ask_closes_s.value_or(1e18));
        return next < 1e17 ? std::optional(next) : std::nullopt;
    }
    return until_s;
}

void World::step_to(double t) {
    int at_once = 0;
    while (const auto next = next_s()) {
        if (*next > t) break;
        at_once = *next > now_s ? 0 : at_once + 1;
        now_s = std::max(now_s, *next);
        if (at_once > most_at_once) {
            run->halted = true;
            phase = Phase::idle;
            break;
        }
        happen();
    }
    now_s = std::max(now_s, t);
}

void World::happen() {
    if (phase == Phase::starting) {
        go_dark(false);
        for (auto& b : boxes) boot(b);
        return after_boot(false);
    }
    const family::Act& a = act();
    if (a.kind == family::ActKind::write && head < jobs.size()) {
        land(jobs[head]);
        if (++head < jobs.size()) return;
    }
    if (a.kind == family::ActKind::ask) {
        const bool nobody = ask_closes_s && *ask_closes_s <= until_s;
        for (const auto& answer : a.answers)
            if ((answer.how == "nothing") == nobody) return answered(answer.how, answer);
        return next_act();
    }
    finish_act();
}

// --- power ---------------------------------------------------------------------------------------------------------

void World::cut() {
    if (phase == Phase::off) return;
    ++cuts;
    const auto cell_of = [&](const Job& j) -> Cell& { return boxes[j.box].regions[j.region].stores[j.store][j.cell]; };
    const auto forget = [&](const Job& j) {
        for (const auto& p : j.pieces) run->landed.erase(key_of(boxes[j.box].role, p.name));
    };
    const auto tear = [&](const Job& j) {
        cell_of(j) = {cell_of(j).name, true, {}, {}};
        forget(j);
    };
    if (phase == Phase::acting && head < jobs.size()) {
        const Job& j = jobs[head];
        const auto* rule = family->region(boxes[j.box].role, boxes[j.box].regions[j.region].name);
        if (!rule->atomic)
            tear(j);
        else if (draws.even("atomic", cuts) < 0.5)
            land(j);
    }
    // What was reported written a moment ago may not be there. Each cell by itself; what a region's buffering time is
    // not known for may all be affected since the last act that forced it to the medium.
    for (std::size_t i = 0; i < recent.size(); ++i) {
        const Recent& r = recent[i];
        if (phase == Phase::acting && head < jobs.size() && r.job.index == jobs[head].index &&
            r.job.cell == jobs[head].cell && r.job.region == jobs[head].region && r.job.box == jobs[head].box)
            continue;
        if (r.buffered_s && now_s - r.job.ends_s >= *r.buffered_s) continue;
        const double chance = draws.even("buffer", cuts, i);
        const bool atomic = family->region(boxes[r.job.box].role, boxes[r.job.box].regions[r.job.region].name)->atomic;
        if (chance < (atomic ? 1.0 / 2 : 1.0 / 3)) {
            cell_of(r.job) = r.before;
            forget(r.job);
        } else if (chance < 2.0 / 3 && !atomic) {
            tear(r.job);
        }
    }
    recent.clear();
    jobs.clear();
    ask_closes_s.reset();
    asleep = false;
    phase = Phase::off;
    dark = true;
    screen.clear();
    for (auto& b : boxes) b.mode = Mode::off;
    if (run) run->by_itself = run->with_card = run->waiting = false;
    tell(EventKind::power_off);
}

void World::restore() {
    if (phase != Phase::off) return;
    tell(EventKind::power_on);
    phase = Phase::starting;
    for (auto& b : boxes) b.mode = Mode::starting;
    double seconds = usual_start_s;
    for (const auto& a : family->script)
        if (a.kind == family::ActKind::restart && a.seconds) {
            seconds = a.seconds->median_s * std::exp(sd_of(*a.seconds) * draws.normal("start", cuts));
            break;
        }
    until_s = now_s + seconds;
}

// --- looking -------------------------------------------------------------------------------------------------------

bool World::all_as_found() const {
    if (!run || !run->as_found) return true;
    for (std::size_t i = 0; i < boxes.size(); ++i) {
        const BoxWorld &now = boxes[i], &then = (*run->as_found)[i];
        if (now.flags != then.flags) return false;
        for (std::size_t r = 0; r < now.regions.size(); ++r)
            for (std::size_t s = 0; s < 2; ++s)
                for (const Cell& c : now.regions[r].stores[s]) {
                    const Store& before = then.regions[r].stores[s];
                    const auto was =
                        std::find_if(before.begin(), before.end(), [&](const Cell& x) { return x.name == c.name; });
                    const bool same = was == before.end() ? !c.torn && c.pieces.empty() : c.same_content(*was);
                    if (!same) return false;
                }
    }
    return true;
}

bool World::reachable(const BoxWorld& b) const {
    if (phase == Phase::off || phase == Phase::starting) return false;
    if (phase == Phase::acting && (act().dark || act().kind == family::ActKind::restart)) return false;
    return b.mode == Mode::normal || b.mode == Mode::recovery;
}

}  // namespace fettle::standin
