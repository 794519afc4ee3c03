// For tests only: the power-cut map's meaning once more, written down as plainly as can be. Cells are characters in a
// map with names for keys, every combination of cells at risk is tried one by one, nothing is packed, remembered or
// shared with the room's own code. Slow, and meant to be read next to docs/plan.md.
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
};

class Naive {
public:
    Naive(const family::Family& f, const change::ChangeSheet& s) : f_(f), s_(s) {}

    struct Answer {
        std::string act;
        int cell = -1;
        Outcomes one, more;
    };

    std::vector<Answer> map(int k) {
        std::map<std::pair<std::size_t, int>, Answer> answers;
        for (const char spare : {'x', 't'}) {
            World w = found(spare);
            found_ = w;
            run(w, {true, Outcome::done, 0, 0, true, true},
                [&](const World& at, int cell, const std::vector<World>& left) {
                    Answer& a = answers[{at.act, cell}];
                    a.act = f_.script[at.act].id;
                    a.cell = cell;
                    for (const World& l : left) {
                        merge(a.one, after_cut(l, 0));
                        merge(a.more, after_cut(l, k - 1));
                    }
                });
        }
        std::vector<Answer> out;
        for (const auto& [where, answer] : answers) out.push_back(answer);
        return out;
    }

private:
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
        for (const auto& b : f_.boxes) {
            const auto* rule = boot(w, b.role);
            by_box[b.role] = rule;
            if (rule == nullptr || (rule->mode != "normal" && rule->goes_on == "not at all")) {
                dead_ones.insert(dead(w, b.role));
            }
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
        if (normal && !w.mark && w.cells == found_.cells && w.flags == found_.flags) {
            d.how = Outcome::nothing_changed;
            return {d};
        }
        const auto& act = f_.script[w.act];
        const auto owner = driver(by_box, act);
        if (w.mark) {
            bool expected = true;
            for (const auto& [role, rule] : by_box) {
                if ((act.box == "all" || act.box == role) && !act.into.empty() && rule->mode != act.into)
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
                        if (rule->goes_on == "with the card") go.how = Outcome::same_card;
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
            if (rule->goes_on == "not at all") continue;
            if (b.role == act.box) return rule;
            if (first == nullptr) first = rule;
        }
        return first;
    }

    // Every state that a cut may leave at this instant: each cell at risk new, as before, or torn.
    std::vector<World> losses(const World& w) const {
        std::vector<World> out{w};
        out[0].at_risk.clear();
        for (const auto& [cell, before] : w.at_risk) {
            std::vector<World> more;
            const auto region =
                cell.substr(cell.find('/') + 1, cell.find('/', cell.find('/') + 1) - cell.find('/') - 1);
            const bool atomic = f_.region(cell.substr(0, cell.find('/')), region)->atomic;
            for (World one : out) {
                more.push_back(one);
                one.cells[cell] = before;
                more.push_back(one);
                one.cells[cell] = 't';
                if (!atomic) more.push_back(one);
            }
            out = std::move(more);
        }
        return out;
    }

    // A planned restart that brought up another mode than the script expects.
    struct Stray {
        World world;
        std::string box;
        std::set<std::string> leads_to;
    };
    using Strays = std::map<std::string, Stray>;  // by print and how the run went on until then

    // Runs on and returns what it comes to, whichever way it goes; `how` is what it is called if it comes to its end.
    template <class See>
    Outcomes run(World w, const Decision& d, See see) const {
        w.at_risk.clear();
        Strays strays;
        std::set<std::string> started;
        std::vector<std::string> open;
        Outcomes out;
        const auto go = [&](const World& from, const Decision& by, Stray* after) {
            const auto stray = straight(from, by, see, out);
            if (!stray) return;
            const std::string key = print(stray->world) + std::string(code(by.how));
            strays.emplace(key, *stray);
            open.push_back(key);
            if (after != nullptr) after->leads_to.insert(key);
        };
        go(w, d, nullptr);
        for (std::size_t i = 0; i < open.size(); ++i) {
            const std::string key = open[i];
            if (!started.insert(key).second) continue;
            const bool with_card = key.ends_with(code(Outcome::same_card));
            const World there = strays.at(key).world;
            for (Decision next : decide(there)) {
                if (!next.goes) {
                    out.insert(next.how);
                    continue;
                }
                if (with_card) next.how = Outcome::same_card;
                go(there, next, &strays.at(key));
            }
        }
        for (const auto& [key, stray] : strays) {  // does it come round to this restart again?
            std::set<std::string> reached = stray.leads_to;
            for (std::size_t before = 0; before != reached.size();) {
                before = reached.size();
                for (const auto& k : std::set<std::string>(reached))
                    reached.insert(strays.at(k).leads_to.begin(), strays.at(k).leads_to.end());
            }
            if (reached.count(key) != 0) out.insert(dead(stray.world, stray.box));
        }
        return out;
    }

    // Until the end or the first restart that is not as planned. What is at risk stays so.
    template <class See>
    std::optional<Stray> straight(World w, const Decision& d, See see, Outcomes& out) const {
        std::size_t act = d.start ? 0 : d.act;
        std::size_t cell = d.start ? 0 : d.cell;
        if (d.start) w.began = w.flags;
        const bool rewrite = d.rewrite;
        w.mark = false;
        while (act < f_.script.size()) {
            const family::Act& a = f_.script[act];
            w.act = act;
            w.cell = 0;
            if (a.kind == family::ActKind::write) {
                const auto* r = f_.region(a.box, a.region);
                const auto n = names(*r);
                if (n.empty()) see(w, -1, losses(w));
                for (; cell < n.size(); ++cell) {
                    const std::string key =
                        a.box + "/" + a.region + "/" + store_of(w, *r, a.store, true) + "/" + n[cell];
                    if (w.cells.at(key) == 'n' && !rewrite) continue;
                    w.cell = cell;
                    const char before = w.cells.at(key);
                    w.at_risk.erase(key);
                    std::vector<World> left;
                    const bool buffers = !r->buffered_s || *r->buffered_s > 0;
                    for (const char c : r->atomic ? std::string{before, 'n'}
                                        : buffers ? std::string{before, 't'}
                                                  : "t") {
                        World cut = w;
                        cut.cells[key] = c;
                        for (const World& l : losses(cut)) left.push_back(l);
                    }
                    see(w, static_cast<int>(cell), left);
                    w.cells[key] = 'n';
                    if (buffers) w.at_risk[key] = before;
                }
                if (a.forced) flush(w, a);
            } else if (a.kind == family::ActKind::set) {
                World after = w;
                const std::string key = a.box + "/" + a.flag;
                after.flags[key] = a.value != "other" ? a.value : w.began.at(key) == "a" ? "b" : "a";
                auto left = losses(w);
                for (const World& l : losses(after)) left.push_back(l);
                see(w, -1, left);
                w = after;
            } else if (a.kind == family::ActKind::restart) {
                World marked = w;
                marked.mark = true;
                auto left = losses(w);
                for (const World& l : losses(marked)) left.push_back(l);
                see(w, -1, left);
                flush(w, a);
                for (const auto& b : f_.boxes) {
                    if (a.box != "all" && a.box != b.role) continue;
                    const auto* rule = boot(w, b.role);
                    if (rule == nullptr) {
                        out.insert(dead(w, b.role));
                        return std::nullopt;
                    }
                    if (a.into.empty() || rule->mode == a.into) continue;
                    return Stray{w, b.role, {}};
                }
            } else {
                see(w, -1, losses(w));
                if (a.kind == family::ActKind::end) break;
            }
            ++act;
            cell = 0;
        }
        out.insert(d.how);
        return std::nullopt;
    }

    void flush(World& w, const family::Act& a) const {
        std::erase_if(w.at_risk,
                      [&](const auto& risk) { return a.box == "all" || risk.first.rfind(a.box + "/", 0) == 0; });
    }

    static std::string print(const World& w) {
        std::string out = std::to_string(w.act);
        for (const auto& [k, c] : w.cells) out += c;
        for (const auto& [k, v] : w.flags) out += "," + v;
        for (const auto& [k, v] : w.began) out += ";" + v;
        for (const auto& [k, c] : w.at_risk) out += "/" + k + c;
        return out + " ";
    }

    Outcomes after_cut(const World& cut, int more) const {
        Outcomes out;
        for (const Decision& d : decide(cut)) {
            if (!d.goes) {
                out.insert(d.how);
                continue;
            }
            merge(out, run(cut, d, [&](const World&, int, const std::vector<World>& left) {
                      for (const World& l : left)
                          if (more > 0) merge(out, after_cut(l, more - 1));
                  }));
        }
        return out;
    }

    const family::Family& f_;
    const change::ChangeSheet& s_;
    World found_;
};

}  // namespace fettle::cutmap::naive
