// What a set does when its power comes back. The rules of each box are tried in their order, as the box would; the
// first that holds starts it. Then the boxes are seen together: one that lost its power and finds no way to start stops
// the set, whatever the others could do; else the box of the act that was running says how the run goes on.
#include "fettle/cutmap/boot.h"

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::cutmap {
namespace {

constexpr unsigned bit(Cell c) {
    return 1u << static_cast<unsigned>(c);
}
constexpr unsigned torn_bit = bit(Cell::torn);

bool one_release(unsigned present) {
    present &= ~torn_bit;
    return (present & (present - 1)) == 0;
}

const ModelRule& rule_at(const Model& m, int rule) {
    return m.rules[static_cast<std::size_t>(rule)];
}

unsigned region_present(const Model& m, const State& s, int region, bool spare) {
    const ModelRegion& r = m.regions[static_cast<std::size_t>(region)];
    return s.present(s.store_first(r, spare), r.cells);
}

// Cells and flags; the last word says where the run was.
bool as_found_wholly(const Model& m, const State& s, const std::vector<Word>& found) {
    return std::equal(s.words(), s.words() + m.held, found.begin());
}

// Where a rule takes the run up again. "same cell" with whole new cells kept starts at the first cell of the act that
// is not whole and new; rewritten, at the cell that was under the head.
Resume resume_by(const State& s, const Going& going) {
    Resume r;
    r.goes = going.goes;
    if (!going.goes) return r;
    r.how = going.with_card ? Outcome::same_card : Outcome::goes_on_by_itself;
    r.rewrite = going.rewrite;
    if (going.from == Going::From::start) {
        r.from_start = true;
    } else {
        r.act = s.act();
        r.cell = going.from == Going::From::cell && r.rewrite ? s.at() : 0;
    }
    return r;
}

// Every way in which the driving box may go on.
void add_ways(const State& s, const ModelRule& rule, Outcome how, PowerOn& out) {
    for (const Going& going : rule.goings) {
        Resume r = resume_by(s, going);
        if (r.goes && badness(how) > badness(r.how)) r.how = how;
        out.ways.push_back(r);
    }
}

}  // namespace

Outcomes outcomes_of(OutcomeBits bits) {
    Outcomes out;
    for (unsigned i = 0; i < 8; ++i) {
        if ((bits >> i & 1u) != 0) out.insert(static_cast<Outcome>(i));
    }
    return out;
}

Outcome worst_of(OutcomeBits bits) {
    for (const Outcome o : {Outcome::lost, Outcome::bench_repair, Outcome::starts_no_net, Outcome::rests_unfinished,
                            Outcome::same_card, Outcome::goes_on_by_itself}) {
        if ((bits & bit_of(o)) != 0) return o;
    }
    return (bits & bit_of(Outcome::nothing_changed)) != 0 ? Outcome::nothing_changed : Outcome::done;
}

bool cells_hold(const Model& m, const State& s, const ModelRule& rule) {
    unsigned present = 0;
    for (const int region : rule.regions) present |= region_present(m, s, region, rule.spare);
    if ((present & torn_bit) != 0) return false;
    return !rule.same_release || one_release(present);
}

int boots(const Model& m, const State& s, int box) {
    for (const int r : m.boxes[static_cast<std::size_t>(box)].rules) {
        const ModelRule& rule = rule_at(m, r);
        const bool when =
            std::all_of(rule.when.begin(), rule.when.end(), [&](const auto& w) { return s.flag(w.first) == w.second; });
        if (when && cells_hold(m, s, rule)) return r;
    }
    return -1;
}

bool net_whole(const Model& m, const State& s, int box) {
    const auto& rules = m.boxes[static_cast<std::size_t>(box)].rules;
    return std::all_of(rules.begin(), rules.end(),
                       [&](int r) { return !rule_at(m, r).net || cells_hold(m, s, rule_at(m, r)); });
}

Outcome no_start(const Model& m, const State& s, int box) {
    for (const auto& way : m.family->bench) {
        if (way.box != m.boxes[static_cast<std::size_t>(box)].file->role) continue;
        bool whole = true;
        for (std::size_t i = 0; i < m.regions.size(); ++i) {
            const ModelRegion& r = m.regions[i];
            const bool needed = std::find(way.needs.begin(), way.needs.end(), r.file->name) != way.needs.end();
            if (r.box != box || !needed) continue;
            if ((region_present(m, s, static_cast<int>(i), false) & torn_bit) != 0) whole = false;
        }
        if (whole) return Outcome::bench_repair;
    }
    return Outcome::lost;
}

bool untouched_or_done(const Model& m, const State& s, const std::vector<Word>& found, int box) {
    std::vector<Word> copy = found;
    const State f(m, copy.data());
    bool same = true;
    bool done = true;
    for (const auto& r : m.regions) {
        if (r.box != box || r.cells == 0) continue;
        for (int store = 0; store < (r.selector < 0 ? 1 : 2); ++store) {
            for (int i = r.first[store]; i < r.first[store] + r.cells; ++i) same = same && s.cell(i) == f.cell(i);
        }
        done = done && region_present(m, s, static_cast<int>(&r - m.regions.data()), false) == bit(Cell::new_release);
    }
    return same || done;
}

bool all_new(const Model& m, const State& s) {
    for (std::size_t i = 0; i < m.flags.size(); ++i) {
        const ModelFlag& f = m.flags[i];
        const int flag = static_cast<int>(i);
        if (f.last_set < 0) {  // no act sets it: a selector may stand as it likes, another flag stands as found
            if (!f.selector && s.flag(flag) != f.start) return false;
            continue;
        }
        const int value = m.acts[static_cast<std::size_t>(f.last_set)].value;
        if (s.flag(flag) != (value >= 0 ? value : 1 - s.active_at_start(flag))) return false;
    }
    for (const auto& act : m.acts) {
        if (act.region < 0 || act.cells == 0) continue;
        const ModelRegion& r = m.regions[static_cast<std::size_t>(act.region)];
        if (s.present(s.written_first(act), r.cells) != bit(Cell::new_release)) return false;
    }
    return true;
}

PowerOn power_on(const Model& m, const State& s, const std::vector<Word>& found) {
    PowerOn p;
    power_on(m, s, found, p);
    return p;
}

void power_on(const Model& m, const State& s, const std::vector<Word>& found, PowerOn& p) {
    p.rules.clear();
    p.ways.clear();
    p.unknown = p.unbroken = false;
    Outcome worst_dead = Outcome::nothing_changed;
    Outcome worst_later = Outcome::nothing_changed;
    bool dead = false;
    bool as_expected = true;  // the boxes that lost power came up in the mode that the script has them in
    bool normal = true;
    bool net = true;
    Outcome how = Outcome::goes_on_by_itself;
    int driver = -1;
    const ModelAct& act = m.acts[static_cast<std::size_t>(s.act())];
    for (int box = 0; box < static_cast<int>(m.boxes.size()); ++box) {
        const bool known = !m.boxes[static_cast<std::size_t>(box)].rules.empty();
        const int r = boots(m, s, box);
        p.rules.push_back(r);
        const bool lost_power = m.loses_power(s.cut_kind(), box);
        const bool starts = lost_power || (s.mark() && m.in_box(act, box));  // the others are still up
        if (!known) {
            p.unknown = p.unknown || !untouched_or_done(m, s, found, box);
            continue;
        }
        const bool goes = r >= 0 && rule_at(m, r).goes();
        const bool starts_normal = r >= 0 && rule_at(m, r).normal;
        normal = normal && starts_normal;
        net = net && net_whole(m, s, box);
        const int expects = act.expects[static_cast<std::size_t>(box)];
        as_expected = as_expected && (!lost_power || expects < 0 || starts_normal == (expects == 1));
        if (r < 0 || (!starts_normal && !goes)) {  // nothing to start, or a recovery that nothing goes on from
            dead = dead || starts;
            const Outcome o = no_start(m, s, box);
            Outcome& so_far = starts ? worst_dead : worst_later;
            if (badness(o) > badness(so_far)) so_far = o;
        } else if (goes) {
            if (rule_at(m, r).by_card) how = Outcome::same_card;
            if (driver < 0 || act.box == box) driver = box;
        }
    }
    const bool later = worst_later != Outcome::nothing_changed;
    p.rest = dead ? worst_dead : later ? worst_later : net ? Outcome::rests_unfinished : Outcome::starts_no_net;
    if (p.unknown || dead) return;
    if (as_expected && !m.breaks_off(s.act(), s.cut_kind())) {  // what goes on needs no box that lost its power
        Resume on;
        on.goes = true;
        on.how = Outcome::goes_on_by_itself;
        on.act = s.act();
        on.cell = s.at();
        on.rewrite = s.rewriting();
        p.unbroken = true;
        p.ways.push_back(on);
        return;
    }
    if (normal && !s.mark() && as_found_wholly(m, s, found)) {
        p.rest = Outcome::nothing_changed;
        return;
    }
    if (s.mark()) {  // the restart was planned: the run goes on after it, if the boxes came up as the script expects
        as_expected = true;
        for (int box = 0; box < static_cast<int>(m.boxes.size()); ++box) {
            const int r = p.rules[static_cast<std::size_t>(box)];
            if (!m.in_box(act, box) || r < 0 || act.into < 0) continue;
            as_expected = as_expected && rule_at(m, r).normal == (act.into == 1);
        }
        if (as_expected) {
            Resume next;
            next.goes = true;
            next.how = Outcome::goes_on_by_itself;
            next.act = s.act() + 1;
            const int owner = driver >= 0 ? p.rules[static_cast<std::size_t>(driver)] : -1;
            next.rewrite = owner < 0 || rule_at(m, owner).file->whole_new_cells != "kept";
            p.ways.push_back(next);
            return;
        }
    }
    if (normal && all_new(m, s)) {
        p.rest = Outcome::done;
        return;
    }
    if (driver >= 0) add_ways(s, rule_at(m, p.rules[static_cast<std::size_t>(driver)]), how, p);
}

std::string why_not(const Model& m, const State& s, const ModelRule& rule) {
    std::vector<std::string> torn;
    std::vector<std::string> all;
    for (const int region : rule.regions) {
        const auto& file = *m.regions[static_cast<std::size_t>(region)].file;
        const std::string& name = file.words.empty() ? file.name : file.words;
        all.push_back(name);
        if ((region_present(m, s, region, rule.spare) & torn_bit) != 0) torn.push_back(name);
    }
    if (!torn.empty()) return join(torn, " and ") + " torn";
    return join(all, " and ") + " not of one release";
}

}  // namespace fettle::cutmap
