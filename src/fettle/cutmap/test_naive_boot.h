// For tests only: what boxes do when power returns, written down once more and as plainly as can be. See test_naive.h.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/cutmap/cutmap.h"

namespace fettle::cutmap::naive {

// Contents: 'o' old, 'n' new, 't' torn, 'x' whole of a third release. Buffering is either none or without end: the
// families that this is asked about have buffered_s 0, absent, or longer than any run.
struct World {
    std::map<std::string, char> cells;         // "box/region/store/name"
    std::map<std::string, std::string> flags;  // "box/flag"
    std::map<std::string, std::string> began;  // selectors as they stood when the run began
    std::size_t act = 0;
    std::size_t cell = 0;
    bool mark = false;
    std::map<std::string, char> at_risk;  // cell → what it was before
    std::set<std::string> dark;           // boxes that a cut has left without power
    bool rewriting = true;                // the run that was going on
};

class NaiveBoot {
public:
    NaiveBoot(const family::Family& f, const change::ChangeSheet& s) : f_(f), s_(s) {}

protected:
    static void merge(Outcomes& into, const Outcomes& more) { into.insert(more.begin(), more.end()); }

    std::vector<std::string> names(const family::Region& r) const {
        std::vector<std::string> out;
        for (const auto& l : s_.lines) {
            if (l.box != r.box || l.region != r.name) continue;
            if (l.action == change::Action::add || l.action == change::Action::replace) out.push_back(l.name);
        }
        if (r.written_as == "image" && !out.empty()) out = {"image"};
        return out;
    }

    std::string store_of(const World& w, const family::Region& r, const std::string& which, bool as_began) const {
        if (r.stores != 2) return "-";
        const std::string key = r.box + "/" + r.selected_by;
        const std::string active = as_began ? w.began.at(key) : w.flags.at(key);
        return which == "spare" ? (active == "a" ? "b" : "a") : active;
    }

    World found(char spare) const {
        World w;
        for (const auto& fl : f_.flags) w.flags[fl.box + "/" + fl.name] = fl.start;
        w.began = w.flags;
        for (const auto& r : f_.regions) {
            for (const auto& n : names(r)) {
                if (r.stores != 2) {
                    w.cells[r.box + "/" + r.name + "/-/" + n] = 'o';
                    continue;
                }
                w.cells[r.box + "/" + r.name + "/" + store_of(w, r, "active", false) + "/" + n] = 'o';
                w.cells[r.box + "/" + r.name + "/" + store_of(w, r, "spare", false) + "/" + n] = spare;
            }
        }
        return w;
    }

    std::string contents(const World& w, const std::string& box, const std::string& region,
                         const std::string& which) const {
        std::string out;
        const auto* r = f_.region(box, region);
        for (const auto& n : names(*r))
            out += w.cells.at(box + "/" + region + "/" + store_of(w, *r, which, false) + "/" + n);
        return out;
    }

    bool holds(const World& w, const family::BootRule& b) const {
        std::set<char> seen;
        for (const auto& region : b.needs) {
            for (const char c : contents(w, b.box, region, b.store)) seen.insert(c);
        }
        if (seen.count('t') != 0) return false;
        return b.consistency == "any" || seen.size() <= 1;
    }

    const family::BootRule* boot(const World& w, const std::string& box) const {
        for (const auto& b : f_.boot) {
            if (b.box != box || !holds(w, b)) continue;
            bool when = true;
            for (const auto& [flag, value] : b.when) when = when && w.flags.at(box + "/" + flag) == value;
            if (when) return &b;
        }
        return nullptr;
    }

    Outcome dead(const World& w, const std::string& box) const {
        for (const auto& way : f_.bench) {
            if (way.box != box) continue;
            bool whole = true;
            for (const auto& region : way.needs) {
                if (contents(w, box, region, "active").find('t') != std::string::npos) whole = false;
            }
            if (whole) return Outcome::bench_repair;
        }
        return Outcome::lost;
    }

    bool finished(const World& w) const {
        std::map<std::string, std::string> last = found_.flags;
        for (const auto& a : f_.script) {
            if (a.kind == family::ActKind::set && a.value != "other") last[a.box + "/" + a.flag] = a.value;
            if (a.kind == family::ActKind::set && a.value == "other") {
                last[a.box + "/" + a.flag] = w.began.at(a.box + "/" + a.flag) == "a" ? "b" : "a";
            }
        }
        for (const auto& r : f_.regions) {  // a selector that no act sets may stand as it likes
            const std::string key = r.box + "/" + r.selected_by;
            if (r.stores == 2 && last.at(key) == found_.flags.at(key) && !is_set(r)) last[key] = w.flags.at(key);
        }
        if (w.flags != last) return false;
        for (const auto& a : f_.script) {
            if (a.kind != family::ActKind::write) continue;
            const auto* r = f_.region(a.box, a.region);
            for (const auto& n : names(*r)) {
                if (w.cells.at(a.box + "/" + a.region + "/" + store_of(w, *r, a.store, true) + "/" + n) != 'n')
                    return false;
            }
        }
        return true;
    }
    bool is_set(const family::Region& r) const {
        for (const auto& a : f_.script) {
            if (a.kind == family::ActKind::set && a.box == r.box && a.flag == r.selected_by) return true;
        }
        return false;
    }

    struct Decision {
        bool goes = false;
        Outcome how = Outcome::lost;  // when it goes: how; else what it is
        std::size_t act = 0, cell = 0;
        bool start = false, rewrite = true;
    };

    static std::vector<std::string> meant(const std::string& said, const std::vector<std::string>& all) {
        return said == "unknown" ? all : std::vector<std::string>{said};
    }

    // What may follow, one decision for each way in which what is not known may be.
    std::vector<Decision> decide(const World& w) const {
        std::map<std::string, const family::BootRule*> by_box;
        Outcomes dead_ones;
        bool normal = true;
        bool net = true;
        bool as_expected = true;
        Outcomes would_be_dead;
        for (const auto& b : f_.boxes) {
            const auto* rule = boot(w, b.role);
            by_box[b.role] = rule;
            if (rule == nullptr || (rule->mode != "normal" && rule->goes_on == "not at all")) {
                const auto& a = f_.script[w.act];
                const bool starts = w.dark.count(b.role) != 0 || (w.mark && (a.box == "all" || a.box == b.role));
                (starts ? dead_ones : would_be_dead).insert(dead(w, b.role));
                if (!starts) by_box[b.role] = nullptr;
            }
            const std::string in = expected_mode(w.act, b.role);
            if (rule != nullptr && w.dark.count(b.role) != 0 && !in.empty() && rule->mode != in) as_expected = false;
            if (rule == nullptr || rule->mode != "normal") normal = false;
            for (const auto& n : f_.boot) {
                if (n.box == b.role && n.net && !holds(w, n)) net = false;
            }
        }
        Decision d;
        if (!dead_ones.empty()) {
            d.how = worst(dead_ones);
            return {d};
        }
        bool needed = false;
        for (const auto& role : w.dark) needed = needed || needs(f_.script[w.act], role);
        if (!needed && as_expected) return {{true, Outcome::goes_on_by_itself, w.act, w.cell, false, w.rewriting}};
        if (normal && !w.mark && w.cells == found_.cells && w.flags == found_.flags) {
            d.how = Outcome::nothing_changed;
            return {d};
        }
        const auto& act = f_.script[w.act];
        const auto owner = driver(by_box, act);
        if (w.mark) {
            bool expected = true;
            for (const auto& [role, rule] : by_box) {
                if (rule != nullptr && (act.box == "all" || act.box == role) && !act.into.empty() &&
                    rule->mode != act.into)
                    expected = false;
            }
            if (expected) {
                return {{true, Outcome::goes_on_by_itself, w.act + 1, 0, false,
                         owner == nullptr || owner->whole_new_cells != "kept"}};
            }
        }
        if (normal && finished(w)) {
            d.how = Outcome::done;
            return {d};
        }
        d.how = net ? Outcome::rests_unfinished : Outcome::starts_no_net;
        if (!would_be_dead.empty()) d.how = worst(would_be_dead);
        if (owner == nullptr) return {d};
        std::vector<Decision> out;
        for (const auto& goes_on : meant(owner->goes_on, {"by itself", "with the card", "not at all"})) {
            if (goes_on == "not at all") {
                out.push_back(d);
                continue;
            }
            for (const auto& from : meant(owner->from, {"same cell", "same act", "start"})) {
                for (const auto& whole : meant(owner->whole_new_cells, {"kept", "rewritten"})) {
                    Decision go;
                    go.goes = true;
                    go.how = goes_on == "with the card" ? Outcome::same_card : Outcome::goes_on_by_itself;
                    for (const auto& [role, rule] : by_box) {
                        if (rule != nullptr && rule->goes_on == "with the card") go.how = Outcome::same_card;
                    }
                    go.rewrite = whole != "kept";
                    go.start = from == "start";
                    go.act = w.act;
                    go.cell = from == "same cell" && go.rewrite ? w.cell : 0;
                    out.push_back(go);
                }
            }
        }
        return out;
    }

    const family::BootRule* driver(const std::map<std::string, const family::BootRule*>& by_box,
                                   const family::Act& act) const {
        const family::BootRule* first = nullptr;
        for (const auto& b : f_.boxes) {
            const auto* rule = by_box.at(b.role);
            if (rule == nullptr || rule->goes_on == "not at all") continue;
            if (b.role == act.box) return rule;
            if (first == nullptr) first = rule;
        }
        return first;
    }

    bool needs(const family::Act& a, const std::string& role) const {
        if (a.box == "all" || a.box == role) return true;
        const auto& writer = f_.box(a.box)->written_by;
        return writer == role || writer.empty();
    }
    std::string expected_mode(std::size_t act, const std::string& role) const {
        std::string mode = "normal";
        for (std::size_t i = 0; i < act; ++i) {
            const auto& a = f_.script[i];
            if (a.kind == family::ActKind::restart && (a.box == "all" || a.box == role)) mode = a.into;
        }
        return mode;
    }

    const family::Family& f_;
    const change::ChangeSheet& s_;
    World found_;
};

}  // namespace fettle::cutmap::naive
