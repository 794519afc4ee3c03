// The ways between releases as a graph: a node is the set with every box's release and counter, an edge one install. It
// is made as the search walks it, since most of what could be installed from everywhere is never reached.
#include "fettle/route/graph.h"

#include <fmt/format.h>

#include <algorithm>
#include <queue>
#include <tuple>

#include "fettle/base/random.h"

namespace fettle::route {
namespace {

// One side of a pair rule: the release of its box, and the number of it that the field names (nullopt: the whole).
struct Side {
    std::string release;
    std::optional<std::int64_t> number;
};

std::optional<Side> side_of(const family::Family& family, const change::SetState& set,
                            const family::PairSides::Side& of) {
    const auto box = set.find(of.role);
    if (box == set.end() || box->second.release.empty()) return std::nullopt;
    Side out{box->second.release, {}};
    if (of.field == "release") return out;
    out.number = family::version_number(family.order, out.release, of.field);
    return out.number ? std::optional(out) : std::nullopt;
}

}  // namespace

std::optional<bool> pair_holds(const family::Family& family, const family::PairRule& rule,
                               const change::SetState& set) {
    const auto sides = family::parse_pair(rule.text);
    if (!sides) return std::nullopt;
    const auto left = side_of(family, set, sides->left);
    const auto right = side_of(family, set, sides->right);
    if (!left || !right) return std::nullopt;
    std::optional<int> order;
    if (!left->number || !right->number) {
        order = family::compare_versions(family.order, left->release, right->release);
    } else {
        order = *left->number < *right->number ? -1 : *left->number > *right->number ? 1 : 0;
    }
    if (!order) return std::nullopt;
    return sides->op == "==" ? *order == 0 : sides->op == "<=" ? *order <= 0 : *order >= 0;
}

Graph::Graph(const family::Family& family, const std::vector<family::Release>& releases, const change::SetState& start,
             const StepCost& cost)
    : family_(family), releases_(releases), cost_(cost), facts_(family, releases_, start) {
    number_of(facts_.start());
    for (std::size_t i = 0; i < releases_.size(); ++i) order_.push_back(i);
    std::sort(order_.begin(), order_.end(), [&](std::size_t a, std::size_t b) {
        return std::tuple(facts_.rank(a), std::string_view(facts_.name(a)), a) <
               std::tuple(facts_.rank(b), std::string_view(facts_.name(b)), b);
    });
}

std::optional<int> Graph::order(const std::string& a, const std::string& b) const {
    return family::compare_versions(family_.order, a, b);
}

std::size_t Graph::number_of(const Now& now) {
    std::uint64_t h = hash_start;
    for (const BoxNow& b : now) {
        for (const std::uint64_t v : {std::uint64_t{b.version}, static_cast<std::uint64_t>(b.counter.value_or(-2)),
                                      static_cast<std::uint64_t>(b.at_least.value_or(-2))})
            h = hash_on(h, v);
    }
    const auto [from, to] = numbers_.equal_range(h);
    for (auto at = from; at != to; ++at) {
        if (states_[at->second] == now) return at->second;
    }
    numbers_.emplace(h, static_cast<std::uint32_t>(states_.size()));
    states_.push_back(now);
    return states_.size() - 1;
}

Edge& Graph::edge(std::size_t from, std::size_t release) {
    if (edges_.size() <= from) edges_.resize(states_.size());
    if (edges_[from].empty()) edges_[from].resize(releases_.size());
    Edge& e = edges_[from][release];
    if (!e.judged) {
        e.judged = true;
        const Marks m = facts_.marks(states_[from], release);
        e.broken = static_cast<std::uint16_t>(m.broken);
        e.unknown = static_cast<std::uint16_t>(m.unknown);
    }
    return e;
}

Marks Graph::marks(std::size_t from, std::size_t release, std::size_t target) {
    const Edge& e = edge(from, release);
    Marks m = facts_.direction(states_[from], release, target);
    const unsigned looked_at = release == target ? ~bit(Rule::pair_under_way) : ~at_rest_bit;
    m.broken = (m.broken | e.broken) & looked_at;
    m.unknown = (m.unknown | e.unknown) & looked_at;
    return m;
}

std::size_t Graph::leads_to(std::size_t from, std::size_t release) {
    Edge& e = edge(from, release);
    if (e.to != Edge::not_yet) return e.to;
    facts_.after(states_[from], release, next_);
    if (last_to_.empty()) last_to_.assign(releases_.size(), 0);
    std::uint32_t& last = last_to_[release];
    if (states_[last] != next_) last = static_cast<std::uint32_t>(number_of(next_));
    return e.to = last;
}

StepWeight Graph::cost(std::size_t from, std::size_t release) {
    if (!cost_) return {};
    Edge& e = edge(from, release);
    if (!e.weighed) {
        e.weight = cost_(releases_[release], state(from));
        e.weighed = true;
    }
    return e.weight;
}

std::vector<std::string> Graph::texts(std::size_t from, std::size_t release, std::size_t target,
                                      unsigned of_rules) const {
    std::vector<std::string> out;
    std::vector<std::string> codes;
    for (const auto& c : change::conditions(family_, releases_[release], state(from))) {
        const bool wanted = (bit(rule_named(c.rule)) & of_rules) != 0;
        if (c.holds != change::Truth::no || !wanted) continue;
        if (std::find(codes.begin(), codes.end(), c.code) != codes.end()) continue;  // the same rule of a second box
        codes.push_back(c.code);
        out.push_back(c.text);
    }
    const auto after = change::set_after(family_, state(from), releases_[release]);
    for (const auto& rule : family_.pairs) {
        const Rule kind = rule.when == "at rest" ? Rule::pair_at_rest : Rule::pair_under_way;
        const auto holds = pair_holds(family_, rule, after);
        if ((bit(kind) & of_rules) == 0 || !holds || *holds) continue;
        out.push_back("pair rule " + rule.when + ": " + rule.text);
    }
    if ((facts_.direction(states_[from], release, target).broken & of_rules) != 0)
        out.push_back(fmt::format("no way goes down and up again: {} would put a box where {} does not lie ahead",
                                  facts_.name(release), facts_.name(target)));
    return out;
}

namespace {

struct Label {
    int doubt = 0;
    int irreversible = 0;
    int steps = 0;
    double zone_s = 0, time_s = 0;
    std::uint32_t state = 0;
    std::uint32_t before = none;  // number of the label that it goes on from
    std::uint32_t by = 0;         // release that led here

    static constexpr std::uint32_t none = 0xffffffffu;
    auto order() const { return std::tie(doubt, irreversible, zone_s, time_s, steps); }
    bool beats_or_equals(const Label& o) const {
        return doubt <= o.doubt && irreversible <= o.irreversible && zone_s <= o.zone_s && time_s <= o.time_s &&
               steps <= o.steps;
    }
};

Found told(const std::vector<Label>& labels, std::uint32_t last) {
    Found f;
    f.doubt = labels[last].doubt;
    f.irreversible = labels[last].irreversible;
    f.zone_s = labels[last].zone_s;
    f.time_s = labels[last].time_s;
    for (std::uint32_t l = last; labels[l].before != Label::none; l = labels[l].before)
        f.way.emplace_back(labels[labels[l].before].state, labels[l].by);
    std::reverse(f.way.begin(), f.way.end());
    return f;
}

}  // namespace

std::vector<Found> ways_to(Graph& graph, std::size_t target, unsigned dropped,
                           const std::vector<std::string>& needed_doors, const Useful* only) {
    std::vector<Label> labels{Label{}};
    const auto worse = [&](std::uint32_t a, std::uint32_t b) {  // of equal ones the first found comes first
        return std::tuple_cat(labels[a].order(), std::tie(a)) > std::tuple_cat(labels[b].order(), std::tie(b));
    };
    std::priority_queue<std::uint32_t, std::vector<std::uint32_t>, decltype(worse)> open(worse);
    std::vector<std::vector<std::uint32_t>> held;  // by state: labels that none of the others beats
    std::vector<bool> beaten_since(1, false);
    std::vector<std::uint32_t> arrived;
    const auto beaten = [&](const std::vector<std::uint32_t>& by, const Label& l) {
        return std::any_of(by.begin(), by.end(), [&](std::uint32_t s) { return labels[s].beats_or_equals(l); });
    };
    open.push(0);
    while (!open.empty()) {
        const std::uint32_t number = open.top();
        const Label now = labels[number];
        open.pop();
        if (beaten_since[number]) continue;
        if (now.steps > 0 && now.by == target) {  // a last step: judged at rest when it was pushed
            if (!beaten(arrived, now)) arrived.push_back(number);
            continue;
        }
        if (beaten(arrived, now)) continue;
        for (const std::size_t r : graph.in_order()) {
            const bool last = r == target;
            if (only != nullptr && !only->has(now.state, r)) continue;
            const Marks marks = graph.marks(now.state, r, target);
            if ((marks.broken & ~dropped) != 0) continue;
            const std::size_t to = graph.leads_to(now.state, r);
            if (to == now.state && !last) continue;
            const auto [zone_s, time_s, doubt] = graph.cost(now.state, r);
            Label next = now;
            next.doubt = std::max({next.doubt, doubt, (marks.unknown & ~dropped) != 0 ? 1 : 0});
            next.before = number;
            next.by = static_cast<std::uint32_t>(r);
            next.state = static_cast<std::uint32_t>(to);
            next.steps += 1;
            next.zone_s += zone_s;
            next.time_s += time_s;
            next.irreversible += graph.passes_needless(now.state, r, needed_doors) ? 1 : 0;
            if (beaten(arrived, next)) continue;
            const auto n = static_cast<std::uint32_t>(labels.size());
            if (!last) {
                if (held.size() <= to) held.resize(to + 1);
                if (beaten(held[to], next)) continue;
                std::erase_if(held[to], [&](std::uint32_t h) {
                    if (next.beats_or_equals(labels[h])) beaten_since[h] = true;
                    return beaten_since[h];
                });
                held[to].push_back(n);
            }
            labels.push_back(next);
            beaten_since.push_back(false);
            open.push(n);
        }
    }
    std::vector<Found> out;
    for (const std::uint32_t l : arrived) out.push_back(told(labels, l));
    return out;
}

Useful useful_edges(Graph& graph, std::size_t target) {
    struct Taken {
        std::size_t from, release, to;
        bool arrives;
    };
    std::vector<Taken> steps;
    std::vector<bool> seen{true};
    for (std::vector<std::size_t> open{0}; !open.empty();) {
        const std::size_t now = open.back();
        open.pop_back();
        for (std::size_t r = 0; r < graph.release_count(); ++r) {
            const bool last = r == target;
            if (graph.marks(now, r, target).broken != 0) continue;
            const std::size_t to = graph.leads_to(now, r);
            if (to == now && !last) continue;
            steps.push_back({now, r, to, last});
            if (last) continue;
            if (seen.size() <= to) seen.resize(to + 1, false);
            if (!seen[to]) open.push_back(to);
            seen[to] = true;
        }
    }
    std::vector<std::vector<std::size_t>> into(seen.size());  // steps, by the state that they lead to
    std::vector<std::size_t> open;
    std::vector<bool> leads(seen.size(), false);
    const auto lead_from = [&](std::size_t state) {
        if (!leads[state]) open.push_back(state);
        leads[state] = true;
    };
    for (std::size_t i = 0; i < steps.size(); ++i) {
        if (steps[i].arrives) {
            lead_from(steps[i].from);
        } else {
            into[steps[i].to].push_back(i);
        }
    }
    while (!open.empty()) {
        const std::size_t now = open.back();
        open.pop_back();
        for (const std::size_t i : into[now]) lead_from(steps[i].from);
    }
    Useful out;
    out.edges.resize(seen.size());
    for (const Taken& s : steps) {
        if (!s.arrives && !leads[s.to]) continue;
        out.edges[s.from].resize(graph.release_count(), false);
        out.edges[s.from][s.release] = true;
        ++out.count;
    }
    return out;
}

namespace {

// Every state that the steps lead to which may be taken, from where the set stands.
template <class May>
void spread(Graph& graph, const May& may) {
    std::vector<bool> seen{true};
    for (std::vector<std::size_t> open{0}; !open.empty();) {
        const std::size_t now = open.back();
        open.pop_back();
        for (std::size_t r = 0; r < graph.release_count(); ++r) {
            if (!may(now, r)) continue;
            const std::size_t to = graph.leads_to(now, r);
            if (seen.size() <= to) seen.resize(to + 1, false);
            if (!seen[to]) open.push_back(to);
            seen[to] = true;
        }
    }
}

}  // namespace

std::vector<bool> reachable(Graph& graph) {
    const std::size_t n = graph.release_count();
    std::vector<bool> out(n, false);
    const Facts& facts = graph.facts();
    if (!facts.even()) {  // each way has a direction of its own
        for (std::size_t target = 0; target < n; ++target) {
            spread(graph, [&](std::size_t now, std::size_t r) {
                const bool may = !out[target] && graph.marks(now, r, target).broken == 0;
                if (may && r == target) out[target] = true;
                return may && r != target;
            });
        }
        return out;
    }
    // One spread up, and one down, serve all targets.
    for (const bool back : {false, true}) {
        const auto like = std::find_if(graph.in_order().begin(), graph.in_order().end(),
                                       [&](std::size_t r) { return facts.is_back(r) == back; });
        if (like == graph.in_order().end()) continue;
        const std::size_t end = back ? *like : graph.in_order().back();  // the furthest that way
        spread(graph, [&](std::size_t now, std::size_t r) {
            if (facts.is_back(r) == back && graph.marks(now, r, r).broken == 0) out[r] = true;
            const Marks m = graph.marks(now, r, end);
            return r != end && m.broken == 0;
        });
    }
    return out;
}

}  // namespace fettle::route
