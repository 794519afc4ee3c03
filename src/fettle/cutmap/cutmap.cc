// The map: every moment of the run as planned, and what a cut there leads to.
#include "fettle/cutmap/cutmap.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <memory>
#include <stdexcept>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/cutmap/explore.h"
#include "fettle/cutmap/story.h"
#include "fettle/cutmap/stretches.h"

namespace fettle::cutmap {
namespace {

// The run as planned: at each moment the states that a first cut may leave. A moment that the run comes by twice (a
// restart that led back) is one moment with the states of both.
struct Planned final : Witness {
    Explorer* explorer = nullptr;
    std::map<std::pair<int, int>, std::vector<std::uint32_t>> left;  // (act, cell) → states
    std::vector<std::uint32_t>* now = nullptr;
    void moment(int act, int cell) override { now = &left[{act, cell}]; }
    void left_behind(const std::vector<Word>& s) override {
        const std::uint32_t n = explorer->number_of(s);
        if (n != no_state) now->push_back(n);
    }
};

// What one assumption about the state as found gives.
struct Explored {
    std::unique_ptr<Explorer> explorer;
    Planned planned;
    Followed ending;
    std::vector<Word> stopped;  // where the run as planned stops, if it does not come to its end
};

constexpr std::size_t room_bytes = std::size_t{400} << 20;

Explored explore(const Model& m, Cell spare, std::size_t room) {
    Explored e;
    e.explorer = std::make_unique<Explorer>(m, as_found(m, spare), room);
    e.planned.explorer = e.explorer.get();
    Resume from_rest;
    from_rest.goes = true;
    from_rest.from_start = true;
    const auto& found = e.explorer->found();
    e.ending = follow(m, found, from_rest, found, &e.planned, &e.stopped);
    return e;
}

// A moment's worst example over all assumptions.
void fill_moment(const Model& m, std::vector<Explored>& all, std::pair<int, int> spot, int k, Moment& moment) {
    OutcomeBits one = 0;
    OutcomeBits more = 0;
    struct Example {
        Explorer* explorer = nullptr;
        std::uint32_t state = no_state;
        Outcome outcome = Outcome::nothing_changed;
        void see(Explorer& e, std::uint32_t s, Outcome o) {
            if (explorer == nullptr || badness(o) > badness(outcome)) *this = {&e, s, o};
        }
    };
    Example first;
    Example later;
    for (auto& e : all) {
        for (const std::uint32_t s : e.planned.left[spot]) {
            const OutcomeBits now = e.explorer->fate(s, 0);
            const OutcomeBits then = e.explorer->fate(s, k - 1);
            one |= now;
            more |= then;
            first.see(*e.explorer, s, worst_of(now));
            later.see(*e.explorer, s, worst_of(then));
        }
    }
    moment.outcomes = outcomes_of(one);
    moment.two_cuts = outcomes_of(more);
    moment.story = tell(m, *first.explorer, first.explorer->state(first.state), 0);
    if (badness(later.outcome) > badness(first.outcome)) {
        moment.story += " With a further cut: " + tell(m, *later.explorer, later.explorer->state(later.state), k - 1);
    }
}

bool straddles(const Outcomes& o) {
    return std::any_of(o.begin(), o.end(), no_way_back) && !std::all_of(o.begin(), o.end(), no_way_back);
}

void judge(const Model& m, std::vector<Explored>& all, CutMap& map) {
    Judgement& j = map.judgement;
    std::string unknown_boxes;
    for (const auto& b : m.boxes) {
        if (b.rules.empty()) unknown_boxes += (unknown_boxes.empty() ? "" : ", ") + b.file->role;
    }
    map.boot_order_known = unknown_boxes.empty();
    if (!map.boot_order_known) {
        j.add({"boot-order-unknown", Verdict::cant_say,
               fmt::format("the boot order of {} is not known: every write counts as if it had no way back",
                           unknown_boxes),
               "power-cut map", "family file"});
    }
    const Explorer& first = *all.front().explorer;
    std::vector<Word> words = first.found();
    const PowerOn rest = power_on(m, State(m, words.data()), first.found());
    if (map.boot_order_known && rest.rest != Outcome::nothing_changed) {
        j.add({"boot-rules-contradict", Verdict::cant_say,
               "by the family file's boot rules the set would not start normally even as found: the rules cannot be "
               "right",
               "boot", "family file"});
    }
    if (!all.front().ending.finished && map.boot_order_known) {
        j.add(
            {"script-does-not-end", Verdict::halt,
             fmt::format("even with no cut the run does not reach its end: after \"{}\" it {}", map.moments.back().act,
                         all.front().ending.endless ? "comes round to the same restart again and again"
                                                    : "does not come back as the script expects"),
             map.moments.back().act, "family file"});
    }
    for (auto& e : all) {
        if (!e.explorer->endless()) continue;
        j.add({"resume-never-ends", Verdict::mind,
               "after some cuts the continued run never ends: " + tell(m, *e.explorer, e.explorer->endless_from(), 0),
               "power-cut map", "family file"});
        break;
    }
    const bool cut_short = std::any_of(all.begin(), all.end(), [](const Explored& e) { return e.explorer->full(); });
    if (cut_short) {
        j.add({"map-cut-short", Verdict::cant_say,
               fmt::format("there are more situations than the {} that could be judged: what is shown is right, but "
                           "worse may follow from cuts that were not tried; ask again with fewer cuts",
                           map.met),
               "power-cut map", "model"});
    }
    // Every state that the cuts can leave was followed to an end or a stop, so where none stops this is a proof.
    const bool ends = std::all_of(all.begin(), all.end(), [](const Explored& e) { return e.ending.finished; });
    if (map.boot_order_known) {
        const Moment* worst_one = nullptr;
        for (const Moment& x : map.moments) {
            if (badness(worst(x.two_cuts)) <= badness(Outcome::same_card)) continue;
            if (worst_one == nullptr || badness(worst(x.two_cuts)) > badness(worst(worst_one->two_cuts)))
                worst_one = &x;
        }
        if (worst_one != nullptr) {
            j.add({"not-always-ends", Verdict::fit,
                   "it does not come to its end by itself or by the card after every cut: " + worst_one->story,
                   "power-cut map", "family file"});
        } else if (!ends) {
            j.add({"not-always-ends", Verdict::fit, "it does not come to its end even without a cut", "power-cut map",
                   "family file"});
        } else if (!cut_short) {
            j.add({"always-ends", Verdict::fit,
                   fmt::format("proved: from each of the {} situations that up to {} can leave, the run was "
                               "followed, and it comes to its end by itself or by the card",
                               map.met, plural(map.cuts, "cut")),
                   "power-cut map", "family file"});
        }
    }
    const bool open =
        m.unknown_buffering && map.boot_order_known &&
        std::any_of(map.moments.begin(), map.moments.end(), [](const Moment& x) { return straddles(x.outcomes); });
    if (open) {
        j.add({"buffering-unknown", Verdict::cant_say,
               "how long writes are buffered is not known: at some moments a cut may or may not leave a way back",
               "power-cut map", "family file"});
    }
    if (map.no_way_back_p90_s > 0 && map.boot_order_known) {
        j.add({"no-way-back-zone", Verdict::fit,
               fmt::format("a power cut has no way back by the card during {} of the run (nine in ten: {} or less)",
                           human_duration(map.no_way_back_p50_s), human_duration(map.no_way_back_p90_s)),
               "power-cut map", "family file"});
    } else if (map.boot_order_known) {
        j.add({"no-zone", Verdict::fit, "no moment of the run loses the way back to a single power cut",
               "power-cut map", "family file"});
    }
    j.add(
        {"sag-not-modelled", Verdict::fit,
         "a cut is a clean loss of power; a sag that restarts the box is the same, one that corrupts is not in the map",
         "power-cut map", "model"});
}

}  // namespace

CutMap power_cut_map(const family::Family& family, const change::ChangeSheet& sheet, const forecast::Forecast& forecast,
                     int k) {
    CutMap map;
    map.cuts = std::max(1, k);
    const Model m = compile(family, sheet);
    map.supplies = m.supplies;
    if (m.acts.empty()) {
        map.boot_order_known = !family.boot.empty();
        map.judgement.add({"script-unknown", Verdict::cant_say, "the family file has no step script: no power-cut map",
                           "power-cut map", "family file"});
        return map;
    }
    // A script learnt by watching has states of which nobody knows what they do. Where pieces are to land and no state
    // is known to write, any of them may: nothing can be said of a cut at any moment.
    const bool writes = std::any_of(family.script.begin(), family.script.end(),
                                    [](const family::Act& a) { return a.kind == family::ActKind::write; });
    const bool guessed = family.regions.empty() || !family.watched.empty();
    if (!writes && guessed && !sheet.nothing_to_do()) {
        map.boot_order_known = false;
        map.judgement.add(
            {"writes-unknown", Verdict::cant_say,
             "pieces are to be written, and no state of the script is known to write: a cut at any moment "
             "may leave no way back",
             "power-cut map", "family file"});
        return map;
    }
    std::vector<Explored> all;
    const std::size_t room = m.two_stores ? room_bytes / 2 : room_bytes;
    all.push_back(explore(m, Cell::other_release, room));
    if (m.two_stores) all.push_back(explore(m, Cell::torn, room));
    std::set<std::pair<int, int>> spots;
    for (const auto& e : all) {
        for (const auto& [spot, states] : e.planned.left) spots.insert(spot);
    }
    for (const auto& spot : spots) {
        Moment moment;
        moment.act = m.acts[static_cast<std::size_t>(spot.first)].file->id;
        moment.cell = spot.second;
        fill_moment(m, all, spot, map.cuts, moment);
        map.moments.push_back(std::move(moment));
    }
    fill_stretches(m, forecast, map);
    for (const auto& e : all) {
        map.states += e.explorer->states();
        map.met += e.explorer->states() + e.explorer->met();
    }
    judge(m, all, map);
    return map;
}

const Moment& at(const CutMap& map, std::string_view act, int cell) {
    const auto found = std::find_if(map.moments.begin(), map.moments.end(),
                                    [&](const Moment& m) { return m.act == act && m.cell == cell; });
    if (found == map.moments.end()) {
        throw std::out_of_range(fmt::format("power-cut map: no moment \"{}\", cell {}", act, cell));
    }
    return *found;
}

}  // namespace fettle::cutmap
