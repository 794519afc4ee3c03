// For tests only: the power-cut map's meaning once more, written down as plainly as can be. Cells are characters in a
// map with names for keys, every combination of cells at risk is tried one by one, nothing is packed, remembered or
// shared with the room's own code. Slow, and meant to be read next to docs/plan.md.
#pragma once

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/cutmap/test_naive_boot.h"

namespace fettle::cutmap::naive {

class Naive : NaiveBoot {
public:
    using NaiveBoot::NaiveBoot;

    struct Answer {
        std::string act;
        int cell = -1;
        Outcomes one, more;
    };

    // Trying everything one by one takes minutes for some families: those are given up.
    struct TooMuch {};
    static constexpr int most_states = 10'000;

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
    // Which boxes a cut may take the power from: those of one supply, or all.
    std::vector<std::set<std::string>> darknesses() const {
        std::map<std::string, std::set<std::string>> by_supply;
        std::set<std::string> all;
        for (const auto& b : f_.boxes) {
            by_supply[b.supply].insert(b.role);
            all.insert(b.role);
        }
        std::vector<std::set<std::string>> out{all};
        if (by_supply.size() > 1)
            for (const auto& [supply, boxes] : by_supply) out.push_back(boxes);
        return out;
    }
    // The same for a write: the cell under the head is torn (or what else it may be) if the write breaks off.
    std::vector<World> losses(const World& w, const std::string& key, const std::string& contents) const {
        std::vector<World> out;
        for (const auto& dark : darknesses()) {
            bool broken = false;
            for (const auto& role : dark) broken = broken || needs(f_.script[w.act], role);
            for (const char c : broken ? contents : std::string(1, w.cells.at(key))) {
                World cut = w;
                cut.cells[key] = c;
                for (const World& l : losses(cut, dark)) out.push_back(l);
            }
        }
        return out;
    }
    std::vector<World> losses(const World& w) const {
        std::vector<World> out;
        for (const auto& dark : darknesses())
            for (const World& l : losses(w, dark)) out.push_back(l);
        return out;
    }

    // Every state that a cut may leave at this instant: each cell at risk new, as before, or torn.
    std::vector<World> losses(const World& w, const std::set<std::string>& dark) const {
        std::vector<World> out{w};
        out[0].dark = dark;
        std::erase_if(out[0].at_risk, [&](const auto& risk) { return dark.count(box_of(risk.first)) != 0; });
        for (const auto& [cell, before] : w.at_risk) {
            if (dark.count(box_of(cell)) == 0) continue;
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
        for (const auto& b : f_.boxes) w.dark.insert(b.role);  // at a restart that is not as planned all are asked
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
        const bool rewrite = w.rewriting = d.rewrite;
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
                    const bool buffers = !r->buffered_s || *r->buffered_s > 0;
                    const auto left = losses(w, key,
                                             r->atomic ? std::string{before, 'n'}
                                             : buffers ? std::string{before, 't'}
                                                       : "t");
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

    static std::string box_of(const std::string& cell) { return cell.substr(0, cell.find('/')); }

    static std::string print(const World& w) {
        std::string out = std::to_string(w.act);
        for (const auto& [k, c] : w.cells) out += c;
        for (const auto& [k, v] : w.flags) out += "," + v;
        for (const auto& [k, v] : w.began) out += ";" + v;
        for (const auto& [k, c] : w.at_risk) out += "/" + k + c;
        return out + " ";
    }

    Outcomes after_cut(const World& cut, int more) const {
        if (++tried_ > most_states) throw TooMuch{};
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
    mutable int tried_ = 0;
};

}  // namespace fettle::cutmap::naive
