// A run from one position to its end, power staying on, with every instant at which a cut could come. Between restarts
// it only moves forward in the script, so it ends, or comes to a restart that it has met before in the same state. What
// a cut leaves is more than one state: each cell that was reported written may not be on the medium yet, or only in
// part.
#include "fettle/cutmap/run.h"

#include <algorithm>

namespace fettle::cutmap {
namespace {

enum class End { finished, dead, astray };

struct Ending {
    End end = End::finished;
    Outcome outcome = Outcome::done;  // dead: what it is
    int box = -1;                     // astray: the box that came up in another mode than the script expects
};

// One run until the end act, or until a planned restart after which it does not go on as planned.
class Runner {
public:
    // `risks`: cells that are not on the medium yet when the run begins; afterwards, those of its end.
    Runner(const Model& m, std::vector<Word>& state, std::vector<AtRisk>& risks, Witness* witness)
        : m_(m), words_(state), s_(m, words_.data()), risks_(risks), witness_(witness) {}

    Ending go(const Resume& way) {
        take_up(way);
        if (witness_ != nullptr) witness_->begins(s_, risks_);
        for (; act_ < static_cast<int>(m_.acts.size()); ++act_, cell_ = 0) {
            const ModelAct& act = m_.acts[static_cast<std::size_t>(act_)];
            s_.go(act_, 0);
            switch (act.kind) {
                case family::ActKind::write: write(act); break;
                case family::ActKind::set: set(act); break;
                case family::ActKind::restart:
                    if (const Ending e = restart(act); e.end != End::finished) return e;
                    break;
                case family::ActKind::end: pause(act); return {};
                default: pause(act); break;
            }
        }
        return {};
    }

private:
    void take_up(const Resume& way) {
        act_ = way.act;
        cell_ = way.cell;
        rewrite_ = way.rewrite;
        s_.set_mark(false);
        s_.set_cut(0, false);
        if (m_.supplies > 1) take_over_held();
        if (!way.from_start) return;
        act_ = cell_ = 0;
        s_.begin_run();
    }

    // What boxes that kept their power still hold back, as if it had just been written: at risk for longer, if
    // anything.
    void take_over_held() {
        for (std::size_t r = 0; r < m_.regions.size(); ++r) {
            const ModelRegion& region = m_.regions[r];
            for (int store = 0; store < (region.selector < 0 ? 1 : 2); ++store)
                for (int i = region.first[store]; i < region.first[store] + region.cells; ++i)
                    if (s_.held_back(i)) risks_.push_back({static_cast<int>(r), i, s_.held_before(i), 0});
        }
        s_.hold_nothing();
    }

    void tell(int cell) {
        if (witness_ != nullptr) witness_->moment(act_, cell);
    }
    // A cut of each supply, and of all. `head`: the cell being written, which holds `before` until it is whole; -1:
    // none.
    void cut(int head = -1, Cell before = Cell::new_release) {
        if (witness_ == nullptr) return;
        for (int kind = 0; kind < m_.cut_kinds(); ++kind) {
            if (m_.supplies > 1) s_.set_cut(kind, rewrite_);
            if (!witness_->look(s_, risks_, head, before)) continue;
            if (head < 0 || !m_.breaks_off(act_, kind)) {
                leave(kind);
            } else {
                torn(kind, head, before);
            }
        }
        if (m_.supplies > 1) s_.set_cut(0, false);
    }
    void leave(int kind) {
        if (m_.supplies == 1) return every_loss(m_, words_, risks_, *witness_);
        std::vector<AtRisk> lost;
        for (const AtRisk& r : risks_) {
            if (m_.loses_power(kind, m_.regions[static_cast<std::size_t>(r.region)].box)) {
                lost.push_back(r);
            } else {
                s_.hold_back(r.cell, r.before);
            }
        }
        every_loss(m_, words_, lost, *witness_);
        s_.hold_nothing();
    }
    // The cell under the head is torn; where the region buffers, none of it may have reached the medium yet. Where the
    // family says that writes are atomic, it is old or new instead.
    void torn(int kind, int cell, Cell before) {
        const ModelRegion& region =
            m_.regions[static_cast<std::size_t>(m_.acts[static_cast<std::size_t>(act_)].region)];
        const auto leave_as = [&](Cell c) {
            s_.set_cell(cell, c);
            leave(kind);
        };
        if (region.file->atomic) {
            leave_as(before);
            leave_as(Cell::new_release);
        } else {
            leave_as(Cell::torn);
            if (region.buffers() && before != Cell::torn) leave_as(before);
        }
        s_.set_cell(cell, before);
    }
    // These cells at risk are on the medium now.
    template <class Which>
    void settle(Which which) {
        std::erase_if(risks_, [&](const AtRisk& r) {
            const bool done = which(r);
            if (done && witness_ != nullptr) witness_->settles(r.cell);
            return done;
        });
    }

    // Time passes: what has been buffered longer than its region buffers is on the medium.
    void pass(double least_s) {
        if (risks_.empty()) return;
        for (auto& r : risks_) r.age_s += least_s;
        settle([&](const AtRisk& r) {
            const auto& buffered = m_.regions[static_cast<std::size_t>(r.region)].file->buffered_s;
            return buffered && r.age_s >= *buffered;
        });
    }

    void flush(const ModelAct& act) {
        settle([&](const AtRisk& r) { return m_.in_box(act, m_.regions[static_cast<std::size_t>(r.region)].box); });
    }

    void pause(const ModelAct& act) {
        if (witness_ == nullptr) return;
        tell(-1);
        cut();
        pass(act.least_s);
    }

    void write(const ModelAct& act) {
        const ModelRegion& region = m_.regions[static_cast<std::size_t>(act.region)];
        const int first = s_.written_first(act);
        if (witness_ == nullptr) {  // nobody looks in between: in the end all of them are new
            if (cell_ < act.cells) s_.fill_new(first + cell_, act.cells - cell_);
            return;
        }
        if (act.cells == 0) {
            tell(-1);
            cut();
        }
        for (int i = cell_; i < act.cells; ++i) {
            const int cell = first + i;
            const Cell before = s_.cell(cell);
            if (before == Cell::new_release && !rewrite_) continue;
            s_.go(act_, i);
            tell(i);
            // A cell is at risk once: writing it again starts its wait again.
            std::erase_if(risks_, [&](const AtRisk& r) { return r.cell == cell; });
            witness_->opens(cell, before);
            cut(cell, before);
            s_.set_cell(cell, Cell::new_release);
            pass(region.least_s[static_cast<std::size_t>(i)]);
            if (region.buffers()) {
                risks_.push_back({act.region, cell, before, 0});
            } else {
                witness_->settles(cell);
            }
        }
        if (act.forced) flush(act);
    }

    void set(const ModelAct& act) {
        tell(-1);
        cut();
        s_.set_flag(act.flag, act.value >= 0 ? act.value : 1 - s_.active_at_start(act.flag));
        cut();
    }

    // A planned restart sets a durable mark before it goes dark and clears it when it goes on. Both values are explored
    // at its edges: not yet set, and set.
    Ending restart(const ModelAct& act) {
        tell(-1);
        cut();
        s_.set_mark(true);
        cut();
        s_.set_mark(false);
        flush(act);
        for (int box = 0; box < static_cast<int>(m_.boxes.size()); ++box) {
            if (!m_.in_box(act, box) || m_.boxes[static_cast<std::size_t>(box)].rules.empty()) continue;
            const int r = boots(m_, s_, box);
            if (r < 0) return {End::dead, no_start(m_, s_, box), box};
            const bool as_expected = act.into < 0 || m_.rules[static_cast<std::size_t>(r)].normal == (act.into == 1);
            if (!as_expected) return {End::astray, Outcome::lost, box};
        }
        return {};
    }

    const Model& m_;
    std::vector<Word>& words_;
    State s_;
    std::vector<AtRisk>& risks_;
    Witness* witness_;
    int act_ = 0, cell_ = 0;
    bool rewrite_ = true;
};

// Restarts that brought up another mode than the script expects, each once, and which leads to which.
class Strays {
public:
    struct Stray {
        std::vector<Word> words;
        std::vector<AtRisk> risks;  // of the boxes that did not restart
        Outcome how = Outcome::goes_on_by_itself;
        int box = -1;
        std::vector<std::size_t> next;
    };

    std::size_t number_of(const std::vector<Word>& words, const std::vector<AtRisk>& risks, Outcome how, int box) {
        for (std::size_t i = 0; i < all.size(); ++i) {
            if (all[i].words == words && all[i].risks == risks && all[i].how == how) return i;
        }
        all.push_back({words, risks, how, box, {}});
        return all.size() - 1;
    }

    bool comes_round_to(std::size_t n) const {
        std::vector<bool> seen(all.size(), false);
        std::vector<std::size_t> open{n};
        while (!open.empty()) {
            const std::size_t at = open.back();
            open.pop_back();
            for (const std::size_t to : all[at].next) {
                if (to == n) return true;
                if (!seen[to]) open.push_back(to);
                seen[to] = true;
            }
        }
        return false;
    }

    std::vector<Stray> all;
};

// Goes through the contents that cells at risk may have. Taking no memory for each of them: there are millions.
class Losses {
public:
    Losses(const Model& m, std::vector<Word>& state, const std::vector<AtRisk>& risks, Witness& witness)
        : m_(m), words_(state), s_(m, words_.data()), witness_(witness) {
        for (const AtRisk& r : risks) order_.push_back(&r);
        std::sort(order_.begin(), order_.end(), [](const AtRisk* x, const AtRisk* y) {
            return x->region != y->region ? x->region < y->region : x < y;
        });
    }

    void all() { region_from(order_.begin()); }

private:
    using At = std::vector<const AtRisk*>::const_iterator;
    enum Kind { is_new, is_before, is_torn };

    bool atomic(At r) const { return m_.regions[static_cast<std::size_t>((*r)->region)].file->atomic; }

    void region_from(At first) {
        if (first == order_.end()) {
            witness_.left_behind(words_);
            return;
        }
        const At last =
            std::find_if(first, order_.cend(), [&](const AtRisk* r) { return r->region != (*first)->region; });
        if (last - first <= all_combinations_up_to) {
            combine(first, last);
        } else {
            patterns(first, last);
        }
    }

    // Every content of this cell, with every content of those behind it.
    void combine(At now, At last) {
        if (now == last) {
            region_from(last);
            return;
        }
        const AtRisk& r = **now;
        combine(now + 1, last);  // new, as it stands
        if (r.before != Cell::new_release) put(r, r.before, now + 1, last);
        if (!atomic(now) && r.before != Cell::torn) put(r, Cell::torn, now + 1, last);
        s_.set_cell(r.cell, Cell::new_release);
    }
    void put(const AtRisk& r, Cell c, At next, At last) {
        s_.set_cell(r.cell, c);
        combine(next, last);
    }

    // All of one kind, with one cell of any kind at either end.
    void patterns(At first, At last) {
        const bool torn = !atomic(first);
        const auto all_before = [&](Cell c) {
            return std::all_of(first, last, [&](const AtRisk* r) { return r->before == c; });
        };
        const bool before = !all_before(Cell::new_release) && !(torn && all_before(Cell::torn));
        for (const Kind base : {is_new, is_before, is_torn}) {
            if ((base == is_before && !before) || (base == is_torn && !torn)) continue;
            for (const Kind head : {is_new, is_before, is_torn}) {
                if ((head == is_before && !before) || (head == is_torn && !torn)) continue;
                for (const Kind tail : {is_new, is_before, is_torn}) {
                    if ((tail == is_before && !before) || (tail == is_torn && !torn)) continue;
                    for (At r = first; r != last; ++r) set(**r, r == first ? head : r + 1 == last ? tail : base);
                    region_from(last);
                }
            }
        }
        for (At r = first; r != last; ++r) set(**r, is_new);
    }
    void set(const AtRisk& r, Kind k) {
        s_.set_cell(r.cell, k == is_new ? Cell::new_release : k == is_torn ? Cell::torn : r.before);
    }

    const Model& m_;
    std::vector<Word>& words_;
    State s_;
    Witness& witness_;
    std::vector<const AtRisk*> order_;
};

}  // namespace

Followed follow(const Model& m, const std::vector<Word>& state, const Resume& way, const std::vector<Word>& found,
                Witness* witness, std::vector<Word>* end) {
    Followed out;
    Strays strays;
    std::vector<Word> words;
    std::vector<AtRisk> risks;
    const auto stops = [&](const std::vector<Word>& where, Outcome o) {
        if (out.finished && end != nullptr) *end = where;
        out.finished = false;
        out.bits |= bit_of(o);
    };
    constexpr auto nowhere = static_cast<std::size_t>(-1);
    const auto run = [&](std::size_t from, const Resume& by, Outcome how) {
        const Ending e = Runner(m, words, risks, witness).go(by);
        if (e.end == End::finished) {
            out.bits |= bit_of(how);
        } else if (e.end == End::dead) {
            stops(words, e.outcome);
        } else {
            const std::size_t to = strays.number_of(words, risks, how, e.box);
            if (from != nowhere) strays.all[from].next.push_back(to);
        }
    };
    words = state;
    run(nowhere, way, way.how);
    for (std::size_t i = 0; i < strays.all.size(); ++i) {
        words = strays.all[i].words;
        const PowerOn p = power_on(m, State(m, words.data()), found);
        if (p.ways.empty()) stops(words, p.rest);
        for (const Resume& next : p.ways) {
            words = strays.all[i].words;
            risks = strays.all[i].risks;
            const Outcome before = strays.all[i].how;
            if (next.goes) {
                run(i, next, badness(next.how) > badness(before) ? next.how : before);
            } else {
                stops(words, p.rest);
            }
        }
    }
    for (std::size_t i = 0; i < strays.all.size(); ++i) {
        if (!strays.comes_round_to(i)) continue;
        out.endless = true;
        words = strays.all[i].words;
        stops(words, no_start(m, State(m, words.data()), strays.all[i].box));
    }
    return out;
}

void every_loss(const Model& m, std::vector<Word>& state, const std::vector<AtRisk>& risks, Witness& witness) {
    if (risks.empty()) return witness.left_behind(state);
    Losses(m, state, risks, witness).all();
}

}  // namespace fettle::cutmap
