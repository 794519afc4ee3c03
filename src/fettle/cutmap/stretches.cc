// The map along time: each moment gets its part of the forecast's time of its act, and neighbours that end alike are
// drawn together. Times are taken from the draws, since quantiles of parts do not add up to the quantile of the whole.
#include "fettle/cutmap/stretches.h"

#include <algorithm>

namespace fettle::cutmap {
namespace {

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

}  // namespace

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

}  // namespace fettle::cutmap
