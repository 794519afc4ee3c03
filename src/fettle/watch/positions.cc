#include "fettle/watch/positions.h"

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::watch {
namespace {

// How long each cell of a write act takes against the others, by the region's overhead and rate; empty when the sheet's
// pieces are not the map's cells (an image is one cell).
std::vector<double> weights(const Step& step, const family::Act& act, std::size_t cells) {
    std::vector<double> out;
    const family::Region* region = step.family.region(act.box, act.region);
    if (!region) return {};
    for (const change::Line& line : step.sheet.lines) {
        if (line.box != act.box || line.region != act.region || line.bytes == 0) continue;
        const double rate = region->rate_mib_s * 1024 * 1024;
        out.push_back(region->overhead_s + (rate > 0 ? static_cast<double>(line.bytes) / rate : 0));
    }
    if (out.size() != cells) out.clear();
    return out;
}

const char* words_of(cutmap::Outcome o) {
    switch (o) {
        case cutmap::Outcome::nothing_changed: return "it starts as it was found";
        case cutmap::Outcome::goes_on_by_itself: return "it goes on by itself when power is back";
        case cutmap::Outcome::same_card: return "the same card takes it up";
        case cutmap::Outcome::rests_unfinished: return "it starts, and the update rests unfinished";
        case cutmap::Outcome::starts_no_net: return "it starts, with no net";
        case cutmap::Outcome::bench_repair: return "bench repair";
        case cutmap::Outcome::lost: return "the unit is lost";
        case cutmap::Outcome::done: return "nothing is lost: the step is done";
    }
    return "can't say";
}

constexpr int kPieces = 64;  // of an act's time, for the picture

Ground ground_of(const cutmap::Moment& m, bool boot_order_known) {
    if (m.outcomes.empty() || !boot_order_known) return Ground::not_known;
    const cutmap::Outcome worst = cutmap::worst(m.outcomes);
    if (cutmap::no_way_back(worst)) return Ground::no_way_back;
    return worst == cutmap::Outcome::starts_no_net ? Ground::no_net : Ground::firm;
}

}  // namespace

Positions::Positions(const Step& step) {
    for (const cutmap::Moment& m : step.map.moments) {
        auto it = std::find_if(acts_.begin(), acts_.end(), [&](const ActMoments& a) { return a.act == m.act; });
        if (it == acts_.end()) it = acts_.insert(acts_.end(), {m.act, {}, {}, {}});
        it->cells.push_back(&m);
    }
    for (ActMoments& a : acts_) {
        std::sort(a.cells.begin(), a.cells.end(), [](auto* x, auto* y) { return x->cell < y->cell; });
        const family::Act* act = step.family.act(a.act);
        std::vector<double> w;
        if (act) w = weights(step, *act, a.cells.size());
        if (w.empty()) w.assign(a.cells.size(), 1.0);
        double total = 0, sum = 0;
        for (double v : w) total += v;
        for (double v : w) a.until.push_back((sum += v) / total);
        for (int i = 0; i < kPieces; ++i)
            a.grounds.push_back(ground_of(*a.at((i + 0.5) / kPieces), step.map.boot_order_known));
    }
}

const cutmap::Moment* Positions::ActMoments::at(double share) const {
    const auto i = std::upper_bound(until.begin(), until.end(), share) - until.begin();
    return cells[std::min(static_cast<std::size_t>(i), cells.size() - 1)];
}

const Positions::ActMoments* Positions::of(const std::string& act) const {
    const auto it = std::find_if(acts_.begin(), acts_.end(), [&](const ActMoments& a) { return a.act == act; });
    return it == acts_.end() ? nullptr : &*it;
}

const cutmap::Moment* Positions::moment(const std::string& act, double share) const {
    const ActMoments* a = of(act);
    return a ? a->at(share) : nullptr;
}

const std::vector<Ground>* Positions::grounds(const std::string& act) const {
    const ActMoments* a = of(act);
    return a ? &a->grounds : nullptr;
}

cutmap::Outcomes Positions::over_acts(const std::vector<std::string>& acts) const {
    cutmap::Outcomes out;
    for (const ActMoments& a : acts_) {
        if (std::find(acts.begin(), acts.end(), a.act) == acts.end()) continue;
        for (const cutmap::Moment* m : a.cells) out.insert(m->outcomes.begin(), m->outcomes.end());
    }
    return out;
}

std::string power_words(const cutmap::Outcomes& outcomes) {
    if (outcomes.empty()) return "can't say";
    std::vector<std::string> parts;
    for (cutmap::Outcome o : outcomes) parts.push_back(words_of(o));
    return join(parts, ", or ");
}

}  // namespace fettle::watch
