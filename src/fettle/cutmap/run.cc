#include "fettle/cutmap/run.h"

#include <algorithm>
#include <functional>

namespace fettle::cutmap {
namespace {

class Runner {
public:
    Runner(const Model& m, std::vector<Word>& state, const std::vector<Word>& found, Witness* witness)
        : m_(m), words_(state), s_(m, words_.data()), found_(found), witness_(witness) {}

    Ending go(const Resume& way) {
        take_up(way);
        while (act_ < static_cast<int>(m_.acts.size())) {
            const ModelAct& act = m_.acts[static_cast<std::size_t>(act_)];
            s_.go(act_, 0);
            Next next = Next::act;
            switch (act.file->kind) {
                case family::ActKind::write: write(act); break;
                case family::ActKind::set: set(act); break;
                case family::ActKind::restart: next = restart(act); break;
                case family::ActKind::end: pause(act); return {true, false, Outcome::done};
                default: pause(act); break;
            }
            if (next == Next::ended) return ending_;
            if (next == Next::jumped) continue;
            ++act_;
            cell_ = 0;
        }
        return {true, false, Outcome::done};
    }

private:
    enum class Next { act, jumped, ended };

    void take_up(const Resume& way) {
        act_ = way.act;
        cell_ = way.cell;
        rewrite_ = way.rewrite;
        s_.set_mark(false);
        risks_.clear();
        if (!way.from_start) return;
        act_ = cell_ = 0;
        s_.begin_run();
    }

    void tell(int cell) {
        if (witness_ != nullptr) witness_->moment(act_, cell);
    }
    void cut() {
        if (witness_ != nullptr) every_loss(m_, words_, risks_, *witness_);
    }

    // Time passes: what has been buffered longer than its region buffers is on the medium.
    void pass(double least_s) {
        for (auto& r : risks_) r.age_s += least_s;
        std::erase_if(risks_, [&](const AtRisk& r) {
            const auto& buffered = m_.regions[static_cast<std::size_t>(r.region)].file->buffered_s;
            return buffered && r.age_s >= *buffered;
        });
    }

    void flush(const ModelAct& act) {
        std::erase_if(risks_, [&](const AtRisk& r) {
            return m_.in_box(act, m_.regions[static_cast<std::size_t>(r.region)].box);
        });
    }

    void pause(const ModelAct& act) {
        tell(-1);
        cut();
        pass(act.least_s);
    }

    void write(const ModelAct& act) {
        const ModelRegion& region = m_.regions[static_cast<std::size_t>(act.region)];
        const int first = s_.written_first(act);
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
            // A cell is at risk once: writing it again starts its wait anew.
            std::erase_if(risks_, [&](const AtRisk& r) { return r.cell == cell; });
            if (witness_ != nullptr) head(region, cell, before);
            s_.set_cell(cell, Cell::new_release);
            pass(region.least_s[static_cast<std::size_t>(i)]);
            if (region.buffers()) risks_.push_back({act.region, cell, before, 0});
        }
        if (act.file->forced) flush(act);
    }

    // The cell under the head is torn; where the family says that writes are atomic, it is old or new instead.
    void head(const ModelRegion& region, int cell, Cell before) {
        const auto leave = [&](Cell c) {
            s_.set_cell(cell, c);
            cut();
        };
        if (region.file->atomic) {
            leave(before);
            leave(Cell::new_release);
        } else {
            leave(Cell::torn);
        }
        s_.set_cell(cell, before);
    }

    void set(const ModelAct& act) {
        tell(-1);
        cut();
        s_.set_flag(act.flag, act.value >= 0 ? act.value : 1 - s_.active_at_start(act.flag));
        cut();
    }

    // A planned restart sets a durable mark before it goes dark and clears it when it goes on. Both values are explored
    // at its edges: not yet set, and set.
    Next restart(const ModelAct& act) {
        tell(-1);
        cut();
        s_.set_mark(true);
        cut();
        s_.set_mark(false);
        flush(act);
        for (int box = 0; box < static_cast<int>(m_.boxes.size()); ++box) {
            if (!m_.in_box(act, box) || m_.boxes[static_cast<std::size_t>(box)].rules.empty()) continue;
            const int r = boots(m_, s_, box);
            const auto& into = act.file->into;
            if (r < 0) return lands_in(no_start(m_, s_, box));
            if (!into.empty() && m_.rules[static_cast<std::size_t>(r)].file->mode != into) return astray(box);
        }
        return Next::act;
    }

    Next lands_in(Outcome o) {
        ending_ = {false, false, o};
        return Next::ended;
    }

    // The box came up in another mode than the script expects: its boot rule says how it goes on, if it does.
    Next astray(int box) {
        const PowerOn p = power_on(m_, s_, found_);
        const auto way = std::find_if(p.ways.begin(), p.ways.end(), [](const Resume& w) { return w.goes; });
        if (way == p.ways.end()) return lands_in(p.rest);
        if (std::find(been_.begin(), been_.end(), words_) != been_.end()) {
            ending_ = {false, true, no_start(m_, s_, box)};
            return Next::ended;
        }
        been_.push_back(words_);
        take_up(*way);
        return Next::jumped;
    }

    const Model& m_;
    std::vector<Word>& words_;
    State s_;
    const std::vector<Word>& found_;
    Witness* witness_;
    int act_ = 0, cell_ = 0;
    bool rewrite_ = true;
    std::vector<AtRisk> risks_;
    std::vector<std::vector<Word>> been_;
    Ending ending_;
};

constexpr std::size_t all_combinations_up_to = 4;

using Contents = std::vector<Cell>;

std::vector<Contents> combinations(const std::vector<AtRisk>& risks, bool atomic) {
    std::vector<Contents> out{Contents{}};
    for (const auto& r : risks) {
        std::vector<Contents> longer;
        for (const auto& c : out) {
            std::vector<Cell> values{Cell::new_release, r.before};
            if (r.before == Cell::new_release) values.pop_back();
            if (!atomic && r.before != Cell::torn) values.push_back(Cell::torn);
            for (const Cell v : values) {
                longer.push_back(c);
                longer.back().push_back(v);
            }
        }
        out = std::move(longer);
    }
    return out;
}

// All of one kind; and for each two kinds, one cell of the second kind at either end. And one of every kind.
std::vector<Contents> patterns(const std::vector<AtRisk>& risks, bool atomic) {
    enum Kind { is_new, is_before, is_torn };
    std::vector<Kind> kinds{is_new, is_before};
    if (!atomic) kinds.push_back(is_torn);
    const auto value = [&](Kind k, std::size_t i) {
        return k == is_new ? Cell::new_release : k == is_torn ? Cell::torn : risks[i].before;
    };
    std::vector<Contents> out;
    const auto add = [&](Kind base, Kind first, Kind last) {
        Contents c;
        for (std::size_t i = 0; i < risks.size(); ++i) {
            c.push_back(value(i == 0 ? first : i + 1 == risks.size() ? last : base, i));
        }
        if (std::find(out.begin(), out.end(), c) == out.end()) out.push_back(std::move(c));
    };
    for (const Kind base : kinds) {
        for (const Kind first : kinds) {
            for (const Kind last : kinds) add(base, first, last);
        }
    }
    return out;
}

}  // namespace

Ending run_on(const Model& m, std::vector<Word>& state, const Resume& way, const std::vector<Word>& found,
              Witness* witness) {
    return Runner(m, state, found, witness).go(way);
}

void every_loss(const Model& m, std::vector<Word>& state, const std::vector<AtRisk>& risks, Witness& witness) {
    if (risks.empty()) return witness.left_behind(state);
    std::vector<std::vector<AtRisk>> groups;  // by region
    for (const auto& r : risks) {
        const auto same = [&](const std::vector<AtRisk>& g) { return g.front().region == r.region; };
        const auto at = std::find_if(groups.begin(), groups.end(), same);
        if (at == groups.end()) {
            groups.push_back({r});
        } else {
            at->push_back(r);
        }
    }
    State s(m, state.data());
    const std::function<void(std::size_t)> choose = [&](std::size_t g) {
        if (g == groups.size()) return witness.left_behind(state);
        const auto& group = groups[g];
        const bool atomic = m.regions[static_cast<std::size_t>(group.front().region)].file->atomic;
        for (const auto& contents :
             group.size() <= all_combinations_up_to ? combinations(group, atomic) : patterns(group, atomic)) {
            for (std::size_t i = 0; i < group.size(); ++i) s.set_cell(group[i].cell, contents[i]);
            choose(g + 1);
        }
        for (const auto& r : group) s.set_cell(r.cell, Cell::new_release);
    };
    choose(0);
}

}  // namespace fettle::cutmap
