// The family file and a change sheet become small numbers, so that a whole state is a few words that can be compared
// and hashed: two bits for each cell that the step writes, flags, and where the run is. What names something that is
// not there is a mistake of the program, since the family file was checked before: it throws.
#include "fettle/cutmap/model.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <stdexcept>

#include "fettle/forecast/forecast.h"

namespace fettle::cutmap {
namespace {

constexpr double deviations = 4;  // a state is never quicker than this far below its median

[[noreturn]] void bug(const std::string& what) {
    throw std::invalid_argument("power-cut map: " + what);
}

int box_of(const family::Family& family, const std::string& role) {
    for (std::size_t i = 0; i < family.boxes.size(); ++i) {
        if (family.boxes[i].role == role) return static_cast<int>(i);
    }
    bug("no box " + role);
}

int flag_of(const family::Family& family, const std::string& box, const std::string& name) {
    for (std::size_t i = 0; i < family.flags.size(); ++i) {
        if (family.flags[i].box == box && family.flags[i].name == name) return static_cast<int>(i);
    }
    bug("no flag " + name + " of box " + box);
}

int value_of(const family::Flag& flag, const std::string& value) {
    const auto at = std::find(flag.values.begin(), flag.values.end(), value);
    if (at == flag.values.end()) bug("flag " + flag.name + " has no value " + value);
    return static_cast<int>(at - flag.values.begin());
}

int region_of(const Model& m, int box, const std::string& name) {
    for (std::size_t i = 0; i < m.regions.size(); ++i) {
        if (m.regions[i].box == box && m.regions[i].file->name == name) return static_cast<int>(i);
    }
    bug("no region " + name);
}

void add_flags(Model& m, const family::Family& family) {
    if (family.flags.size() > 20) bug("more than 20 flags");
    for (const auto& f : family.flags) {
        if (f.values.size() > 16) bug("flag " + f.name + " has more than 16 values");
        ModelFlag flag;
        flag.file = &f;
        flag.box = box_of(family, f.box);
        flag.start = value_of(f, f.start);
        m.flags.push_back(flag);
    }
}

void add_regions(Model& m, const family::Family& family, const change::ChangeSheet& sheet) {
    for (const auto& r : family.regions) {
        ModelRegion region;
        region.file = &r;
        region.box = box_of(family, r.box);
        if (r.stores == 2) {
            region.selector = flag_of(family, r.box, r.selected_by);
            m.flags[static_cast<std::size_t>(region.selector)].selector = true;
        }
        family::Act any;  // a write act on this region, to ask forecast for its lines
        any.kind = family::ActKind::write;
        any.box = r.box;
        any.region = r.name;
        const double least = std::exp(-deviations * r.spread);
        std::uint64_t bytes = 0;
        for (const auto* line : forecast::lines_of(family, sheet, any)) {
            region.names.push_back(line->name);
            region.least_s.push_back(least * forecast::nominal_s(r, line->bytes));
            bytes += line->bytes;
        }
        if (r.written_as == "image" && !region.names.empty()) {
            region.names = {r.words.empty() ? r.name : r.words};
            region.least_s = {least * forecast::nominal_s(r, bytes)};
        }
        region.cells = static_cast<int>(region.names.size());
        for (int s = 0; s < r.stores && s < 2; ++s) {
            region.first[s] = m.cells;
            m.cells += region.cells;
        }
        if (region.cells > 0 && !r.buffered_s) m.unknown_buffering = true;
        if (region.cells > 0 && r.stores == 2) m.two_stores = true;
        m.regions.push_back(std::move(region));
    }
}

void add_acts(Model& m, const family::Family& family, const change::ChangeSheet& sheet) {
    for (const auto& a : family.script) {
        ModelAct act;
        act.file = &a;
        act.kind = a.kind;
        act.spare = a.store == "spare";
        act.forced = a.forced;
        if (!a.into.empty()) act.into = a.into == "normal" ? 1 : 0;
        act.box = a.box == "all" ? -1 : box_of(family, a.box);
        if (a.kind == family::ActKind::write) {
            act.region = region_of(m, act.box, a.region);
            act.cells = m.regions[static_cast<std::size_t>(act.region)].cells;
        } else if (a.kind == family::ActKind::set) {
            act.flag = flag_of(family, a.box, a.flag);
            ModelFlag& flag = m.flags[static_cast<std::size_t>(act.flag)];
            flag.last_set = static_cast<int>(m.acts.size());
            if (a.value == "other") {
                flag.selector = true;
            } else {
                act.value = value_of(*flag.file, a.value);
            }
        } else {
            const auto t = forecast::state_time(family, sheet, a);
            act.least_s = t.median_s * std::exp(-deviations * t.sigma);
        }
        m.acts.push_back(act);
    }
    // Which boxes an act needs, and the mode that each is in since the last restart that the script has for it.
    std::vector<int> mode(m.boxes.size(), 1);
    for (auto& act : m.acts) {
        act.expects = mode;
        for (std::size_t b = 0; b < m.boxes.size(); ++b) {
            const auto& own = act.box < 0 ? std::string() : m.boxes[static_cast<std::size_t>(act.box)].file->written_by;
            act.needs.push_back(m.in_box(act, static_cast<int>(b)) || own.empty() || own == m.boxes[b].file->role);
            if (act.kind == family::ActKind::restart && m.in_box(act, static_cast<int>(b))) mode[b] = act.into;
        }
    }
    if (m.acts.size() > 0xffff) bug("more than 65,535 acts");
}

std::vector<std::string> values_of(const std::string& said, std::vector<std::string> all) {
    if (said == "unknown") return all;
    return {said};
}

std::vector<Going> goings_of(const family::BootRule& b) {
    std::vector<Going> out;
    for (const auto& goes : values_of(b.goes_on, {"by itself", "with the card", "not at all"})) {
        if (goes == "not at all") {
            out.push_back({});
            continue;
        }
        for (const auto& from : values_of(b.from, {"same cell", "same act", "start"})) {
            for (const auto& whole : values_of(b.whole_new_cells, {"kept", "rewritten"})) {
                const auto place = from == "start"      ? Going::From::start
                                   : from == "same act" ? Going::From::act
                                                        : Going::From::cell;
                out.push_back({true, goes == "with the card", place, whole != "kept"});
            }
        }
    }
    return out;
}

void add_rules(Model& m, const family::Family& family) {
    for (const auto& b : family.boot) {
        ModelRule rule;
        rule.file = &b;
        rule.box = box_of(family, b.box);
        rule.spare = b.store == "spare";
        rule.same_release = b.consistency != "any";
        rule.normal = b.mode == "normal";
        rule.net = b.net;
        rule.by_card = b.goes_on == "with the card";
        rule.goings = goings_of(b);
        for (const auto& name : b.needs) rule.regions.push_back(region_of(m, rule.box, name));
        for (const auto& [flag, value] : b.when) {
            const int f = flag_of(family, b.box, flag);
            rule.when.emplace_back(f, value_of(family.flags[static_cast<std::size_t>(f)], value));
        }
        m.boxes[static_cast<std::size_t>(rule.box)].rules.push_back(static_cast<int>(m.rules.size()));
        m.rules.push_back(std::move(rule));
    }
}

}  // namespace

bool Model::breaks_off(int act, int cut_kind) const {
    const auto& needs = acts[static_cast<std::size_t>(act)].needs;
    for (std::size_t b = 0; b < needs.size(); ++b)
        if (needs[b] && loses_power(cut_kind, static_cast<int>(b))) return true;
    return false;
}

Model compile(const family::Family& family, const change::ChangeSheet& sheet) {
    Model m;
    m.family = &family;
    std::vector<std::string> supplies;
    for (const auto& b : family.boxes) {
        const auto at = std::find(supplies.begin(), supplies.end(), b.supply);
        m.boxes.push_back({&b, static_cast<int>(at - supplies.begin()), {}});
        if (at == supplies.end()) supplies.push_back(b.supply);
    }
    m.supplies = std::max(1, static_cast<int>(supplies.size()));
    if (m.supplies > 3) bug("more than three supplies");
    add_flags(m, family);
    add_regions(m, family, sheet);
    add_acts(m, family, sheet);
    add_rules(m, family);
    m.cell_words = (m.cells + 31) / 32;
    m.held = m.cell_words + (static_cast<int>(m.flags.size()) + 15) / 16;
    m.words = m.held + (m.supplies > 1 ? 2 * m.cell_words : 0) + 1;
    return m;
}

unsigned State::present(int first, int n) const {
    constexpr Word lows = 0x5555555555555555u;
    unsigned seen = 0;
    for (int i = first; i < first + n;) {
        const int in_word = std::min(32 - i % 32, first + n - i);
        Word lane = in_word == 32 ? ~Word{0} : ((Word{1} << (2 * in_word)) - 1);
        const Word w = w_[i / 32] >> (i % 32 * 2);
        lane &= lows;
        const Word lo = w & lane;
        const Word hi = (w >> 1) & lane;
        if ((lane & ~lo & ~hi) != 0) seen |= 1u << static_cast<unsigned>(Cell::old_release);
        if ((lo & ~hi) != 0) seen |= 1u << static_cast<unsigned>(Cell::new_release);
        if ((hi & ~lo) != 0) seen |= 1u << static_cast<unsigned>(Cell::torn);
        if ((hi & lo) != 0) seen |= 1u << static_cast<unsigned>(Cell::other_release);
        i += in_word;
    }
    return seen;
}

void State::count(int first, int n, int* n_each) const {
    for (int i = first; i < first + n;) {
        const int in_word = std::min(32 - i % 32, first + n - i);
        const Word lane = (in_word == 32 ? ~Word{0} : ((Word{1} << (2 * in_word)) - 1)) & 0x5555555555555555u;
        const Word w = w_[i / 32] >> (i % 32 * 2);
        const int lo = std::popcount(w & lane);
        const int hi = std::popcount((w >> 1) & lane);
        const int both = std::popcount(w & (w >> 1) & lane);
        n_each[static_cast<unsigned>(Cell::old_release)] += in_word - lo - hi + both;
        n_each[static_cast<unsigned>(Cell::new_release)] += lo - both;
        n_each[static_cast<unsigned>(Cell::torn)] += hi - both;
        n_each[static_cast<unsigned>(Cell::other_release)] += both;
        i += in_word;
    }
}

void State::fill_new(int first, int n) {
    constexpr Word lows = 0x5555555555555555u;
    for (int i = first; i < first + n;) {
        const int in_word = std::min(32 - i % 32, first + n - i);
        const Word lane = (in_word == 32 ? ~Word{0} : ((Word{1} << (2 * in_word)) - 1)) << (i % 32 * 2);
        w_[i / 32] = (w_[i / 32] & ~lane) | (lows & lane);
        i += in_word;
    }
}

void State::begin_run() {
    for (std::size_t f = 0; f < m_->flags.size(); ++f) {
        if (!m_->flags[f].selector) continue;
        const Word bit = Word{1} << (41 + f);
        meta() = flag(static_cast<int>(f)) == 1 ? meta() | bit : meta() & ~bit;
    }
}

int State::written_first(const ModelAct& act) const {
    const ModelRegion& r = m_->regions[static_cast<std::size_t>(act.region)];
    if (r.selector < 0) return r.first[0];
    const int active = active_at_start(r.selector);
    return r.first[act.spare ? 1 - active : active];
}

int State::store_first(const ModelRegion& r, bool spare) const {
    if (r.selector < 0) return r.first[0];
    const int active = flag(r.selector) == 1 ? 1 : 0;
    return r.first[spare ? 1 - active : active];
}

std::vector<Word> as_found(const Model& m, Cell spare) {
    std::vector<Word> words(static_cast<std::size_t>(m.words), 0);
    State s(m, words.data());
    for (std::size_t f = 0; f < m.flags.size(); ++f) s.set_flag(static_cast<int>(f), m.flags[f].start);
    s.begin_run();
    for (const auto& r : m.regions) {
        if (r.selector < 0) continue;
        const int first = s.store_first(r, true);
        for (int i = first; i < first + r.cells; ++i) s.set_cell(i, spare);
    }
    return words;
}

}  // namespace fettle::cutmap
