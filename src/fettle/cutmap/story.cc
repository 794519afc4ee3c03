// A worst example as a technician would tell it: while what was written the power went, why no box starts or how the
// run goes on. The cuts are followed once more, each to the state that leads to the worst.
#include "fettle/cutmap/story.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::cutmap {
namespace {

std::string box_words(const Model& m, int box) {
    const auto& b = *m.boxes[static_cast<std::size_t>(box)].file;
    return b.words.empty() ? b.role + " box" : b.words;
}

std::string act_words(const ModelAct& act) {
    return act.file->words.empty() ? act.file->id : act.file->words;
}

// "while the main box writes the kernel (vmlinux, 1 of 2)"
std::string when(const Model& m, const State& s) {
    const ModelAct& act = m.acts[static_cast<std::size_t>(s.act())];
    const std::string who = act.box < 0 ? std::string("the set") : "the " + box_words(m, act.box);
    std::string text = fmt::format("while {} {}", who, act_words(act));
    if (act.cells > 0) {
        const auto& names = m.regions[static_cast<std::size_t>(act.region)].names;
        text += fmt::format(" ({}, {} of {})", names[static_cast<std::size_t>(s.at())], s.at() + 1, act.cells);
    }
    return text;
}

// "Power goes", or "Power of the display box alone goes".
std::string power_goes(const Model& m, const State& s, bool again) {
    const std::string goes = again ? "goes again" : "goes";
    if (s.cut_kind() == 0) return "Power " + goes;
    std::vector<std::string> boxes;
    for (int box = 0; box < static_cast<int>(m.boxes.size()); ++box)
        if (m.loses_power(s.cut_kind(), box)) boxes.push_back(box_words(m, box));
    return fmt::format("Power of the {} alone {}", join(boxes, " and the "), goes);
}

std::string left(const Model& m, const State& s) {
    std::vector<std::string> torn;
    for (const auto& r : m.regions) {
        for (int store = 0; store < (r.selector < 0 ? 1 : 2); ++store) {
            for (int i = 0; i < r.cells; ++i) {
                if (s.cell(r.first[store] + i) == Cell::torn) torn.push_back(r.names[static_cast<std::size_t>(i)]);
            }
        }
    }
    if (torn.empty()) return {};
    if (torn.size() > 3) return fmt::format("; {} pieces are left torn", torn.size());
    return fmt::format("; {} {} left torn", join(torn, " and "), torn.size() == 1 ? "is" : "are");
}

std::string dead_box(const Model& m, const State& s) {
    for (int box = 0; box < static_cast<int>(m.boxes.size()); ++box) {
        const auto& rules = m.boxes[static_cast<std::size_t>(box)].rules;
        if (rules.empty() || boots(m, s, box) >= 0) continue;
        std::vector<std::string> why;
        for (const int r : rules) {
            const ModelRule& rule = m.rules[static_cast<std::size_t>(r)];
            if (cells_hold(m, s, rule)) continue;
            const std::string one = fmt::format("no {}: {}", rule.file->mode, why_not(m, s, rule));
            if (std::find(why.begin(), why.end(), one) == why.end()) why.push_back(one);
        }
        std::string text = fmt::format("the {} finds no way to start ({})", box_words(m, box), join(why, "; "));
        if (no_start(m, s, box) == Outcome::lost) return text + ", and the family names no way in";
        for (const auto& way : m.family->bench) {
            if (way.box == m.boxes[static_cast<std::size_t>(box)].file->role)
                return text + "; what is left: " + way.words;
        }
        return text;
    }
    return "it starts into a mode from which nothing goes on";
}

std::string follows(const Model& m, const State& s, const PowerOn& p, Outcome o, const std::vector<Word>& found) {
    if (p.unknown) return "the boot order is not known: it may start, or not";
    if (p.ways.empty() || !p.ways.front().goes) {
        switch (o) {
            case Outcome::nothing_changed: return "nothing was changed: it starts as before";
            case Outcome::done: return "the update is done: it starts with the new release";
            case Outcome::rests_unfinished:
                return "it starts as usual and can still be recovered, but the update rests until a person starts it "
                       "again";
            case Outcome::starts_no_net:
                return "it starts as usual, but the recovery that would catch a further mishap is not whole";
            default: return dead_box(m, s);
        }
    }
    const Resume& way = p.ways.front();
    const std::vector<Word> from(s.words(), s.words() + m.words);
    std::vector<Word> end;
    const Followed e = follow(m, from, way, found, nullptr, &end);
    const ModelAct& act = m.acts[std::min(static_cast<std::size_t>(way.from_start ? 0 : way.act), m.acts.size() - 1)];
    const std::string at = way.from_start ? std::string("from the start") : fmt::format("at \"{}\"", act_words(act));
    const std::string goes = p.unbroken ? std::string("the run goes on meanwhile, and the box starts again")
                             : way.how == Outcome::same_card
                                 ? fmt::format("power back, the same card takes it up {}", at)
                                 : fmt::format("power back, it goes on by itself {}", at);
    if (e.finished) return goes;
    if (e.endless) return goes + ", and comes round to the same restart again and again";
    return goes + "; but at the next restart " + dead_box(m, State(m, end.data()));
}

}  // namespace

std::string tell(const Model& m, Explorer& explorer, std::vector<Word> state, int more_cuts) {
    std::string text;
    while (true) {
        const std::vector<Word> next = explorer.worst_next(state, more_cuts);
        const Outcome here = worst_of(explorer.fate(state, 0));
        const State s(m, state.data());
        const PowerOn p = power_on(m, s, explorer.found());
        text += fmt::format("{}{} {}{}: {}.", text.empty() ? "" : " ", power_goes(m, s, !text.empty()), when(m, s),
                            left(m, s), follows(m, s, p, here, explorer.found()));
        if (next.empty()) return text;
        state = next;
        --more_cuts;
    }
}

}  // namespace fettle::cutmap
