// The map: every moment of the run as planned, what a cut there leads to, and the stretches along time.
#include "fettle/cutmap/cutmap.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <memory>
#include <stdexcept>

#include "fettle/base/clock.h"
#include "fettle/cutmap/explore.h"
#include "fettle/cutmap/story.h"

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

// Where each moment lies: its act's number and its part of the act's time.
struct Place {
    std::size_t act = 0;
    double from = 0, part = 1;
    bool instantaneous = false;
};

std::vector<Place> places(const Model& m, const CutMap& map, const forecast::Forecast& f) {
    std::vector<Place> out;
    std::size_t act = 0;
    double from = 0;
    for (const auto& moment : map.moments) {
        if (m.acts[act].file->id != moment.act) from = 0;  // moments are in script order
        while (m.acts[act].file->id != moment.act) ++act;
        Place p;
        p.act = act;
        if (moment.cell >= 0) {
            const auto& least = m.regions[static_cast<std::size_t>(m.acts[act].region)].least_s;
            double whole = 0;
            for (const double s : least) whole += s;
            p.from = from;
            p.part = whole > 0 ? least[static_cast<std::size_t>(moment.cell)] / whole
                               : 1.0 / static_cast<double>(least.size());
            from += p.part;
        }
        p.instantaneous = act >= f.states.size() || f.states[act].lasts.p50_s <= 0;
        out.push_back(p);
    }
    return out;
}

class Axis {
public:
    explicit Axis(const forecast::Forecast& f) : f_(f) {}

    double at(const Place& p, double forecast::Quantiles::* q) const {
        if (p.act >= f_.states.size()) return f_.total.*q;
        const double begins = f_.states[p.act].begins.*q;
        const double ends = p.act + 1 < f_.states.size() ? f_.states[p.act + 1].begins.*q : f_.total.*q;
        return begins + p.from * (ends - begins);
    }

    // Of the moments together, in every draw.
    forecast::Quantiles length(const std::vector<Place>& moments) const {
        if (!f_.by_state || f_.by_state->seconds.empty()) return {};
        std::vector<double> part(f_.by_state->seconds.size(), 0.0);
        for (const auto& p : moments) {
            if (p.act < part.size()) part[p.act] += p.part;
        }
        std::vector<double> sum(f_.by_state->seconds.front().size(), 0.0);
        for (std::size_t a = 0; a < part.size(); ++a) {
            if (part[a] <= 0) continue;
            for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += part[a] * f_.by_state->seconds[a][i];
        }
        return forecast::quantiles_of(sum);
    }

private:
    const forecast::Forecast& f_;
};

// Stretch number of each moment: a new one where the worst outcome changes.
std::vector<int> grouped(const CutMap& map, const std::vector<Place>& place) {
    std::vector<int> worst_at;
    for (const auto& moment : map.moments) worst_at.push_back(badness(worst(moment.outcomes)));
    for (std::size_t i = 0; i < worst_at.size(); ++i) {
        if (!place[i].instantaneous || i == 0) continue;
        std::size_t next = i;
        while (next < worst_at.size() && place[next].instantaneous) ++next;
        const int after = next < worst_at.size() ? worst_at[next] : worst_at[i];
        if (worst_at[i] <= std::max(worst_at[i - 1], after)) worst_at[i] = std::max(worst_at[i - 1], worst_at[i]);
        // not worse than the one before: it joins that stretch; else it waits to join the next
        if (worst_at[i] > worst_at[i - 1] && worst_at[i] <= after) worst_at[i] = after;
    }
    std::vector<int> group;
    for (std::size_t i = 0; i < worst_at.size(); ++i) {
        group.push_back(i == 0 ? 0 : group.back() + (worst_at[i] != worst_at[i - 1] ? 1 : 0));
    }
    return group;
}

void fill_stretches(const Model& m, const forecast::Forecast& f, CutMap& map) {
    if (map.moments.empty()) return;
    const auto place = places(m, map, f);
    for (std::size_t i = 0; i < place.size(); ++i) {
        map.moments[i].act_number = place[i].act;
        map.moments[i].from = place[i].from;
        map.moments[i].part = place[i].part;
    }
    const auto group = grouped(map, place);
    const Axis axis(f);
    std::vector<Place> zone;
    std::vector<Place> no_net;
    for (std::size_t i = 0; i < group.size();) {
        std::size_t end = i;
        Stretch s;
        std::vector<Place> members;
        const Moment* example = &map.moments[i];
        for (; end < group.size() && group[end] == group[i]; ++end) {
            const Moment& moment = map.moments[end];
            s.outcomes.insert(moment.outcomes.begin(), moment.outcomes.end());
            if (badness(worst(moment.outcomes)) > badness(worst(example->outcomes))) example = &moment;
            members.push_back(place[end]);
        }
        const Outcome w = worst(s.outcomes);
        auto& kind = no_way_back(w) ? zone : no_net;
        if (no_way_back(w) || w == Outcome::starts_no_net) kind.insert(kind.end(), members.begin(), members.end());
        s.first_act = map.moments[i].act;
        s.last_act = map.moments[end - 1].act;
        s.story = example->story;
        s.from_p50_s = axis.at(place[i], &forecast::Quantiles::p50_s);
        s.from_p90_s = axis.at(place[i], &forecast::Quantiles::p90_s);
        const bool last = end == group.size();
        s.to_p50_s = last ? f.total.p50_s : axis.at(place[end], &forecast::Quantiles::p50_s);
        s.to_p90_s = last ? f.total.p90_s : axis.at(place[end], &forecast::Quantiles::p90_s);
        const auto length = axis.length(members);
        s.length_p50_s = length.p50_s;
        s.length_p90_s = length.p90_s;
        map.stretches.push_back(std::move(s));
        i = end;
    }
    const auto all = axis.length(zone);
    map.no_way_back_p50_s = all.p50_s;
    map.no_way_back_p90_s = all.p90_s;
    const auto net = axis.length(no_net);
    map.no_net_p50_s = net.p50_s;
    map.no_net_p90_s = net.p90_s;
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
                               map.met, plural(static_cast<std::uint64_t>(map.cuts), "cut")),
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

std::string_view words(Outcome o) {
    switch (o) {
        case Outcome::nothing_changed: return "nothing changed";
        case Outcome::goes_on_by_itself: return "goes on by itself";
        case Outcome::same_card: return "same card takes it up";
        case Outcome::rests_unfinished: return "rests unfinished";
        case Outcome::starts_no_net: return "starts, no net";
        case Outcome::bench_repair: return "bench repair";
        case Outcome::lost: return "lost";
        case Outcome::done: return "done";
    }
    return "lost";
}

std::string_view code(Outcome o) {
    switch (o) {
        case Outcome::nothing_changed: return "nothing-changed";
        case Outcome::goes_on_by_itself: return "goes-on-by-itself";
        case Outcome::same_card: return "same-card";
        case Outcome::rests_unfinished: return "rests-unfinished";
        case Outcome::starts_no_net: return "starts-no-net";
        case Outcome::bench_repair: return "bench-repair";
        case Outcome::lost: return "lost";
        case Outcome::done: return "done";
    }
    return "lost";
}

bool no_way_back(Outcome o) {
    return o == Outcome::bench_repair || o == Outcome::lost;
}

int badness(Outcome o) {
    return o == Outcome::done ? 0 : static_cast<int>(o);
}

Outcome worst(const Outcomes& o) {
    Outcome w = *o.begin();
    for (const Outcome x : o) {
        if (badness(x) > badness(w)) w = x;
    }
    return w;
}

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
