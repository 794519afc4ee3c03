#include "fettle/route/graph.h"

#include <algorithm>
#include <charconv>
#include <memory>
#include <queue>
#include <tuple>

#include "fettle/base/text.h"

namespace fettle::route {
namespace {

const std::map<std::string, Rule, std::less<>> rule_names = {
    {"family", Rule::family}, {"boxes", Rule::boxes},     {"market", Rule::market},
    {"way", Rule::way},       {"counter", Rule::counter}, {"issue", Rule::issue},
};

std::string key_of(const change::SetState& s) {
    std::string key;
    for (const auto& [role, box] : s) {
        key += role + '\x1f' + box.release + '\x1f' + (box.counter ? std::to_string(*box.counter) : "?") + '\x1e';
    }
    return key;
}

// One side of a pair rule: its box's release, and which number of it (-1: all).
struct Side {
    std::string release;
    int part = -1;
};

std::optional<Side> side_of(const change::SetState& set, std::string_view text) {
    const auto dot = text.find('.');
    if (dot == std::string_view::npos) return std::nullopt;
    const auto box = set.find(std::string(text.substr(0, dot)));
    if (box == set.end() || box->second.release.empty()) return std::nullopt;
    const std::string_view field = text.substr(dot + 1);
    const int part = field == "line" ? 0 : field == "step" ? 1 : field == "build" ? 2 : field == "release" ? -1 : -2;
    if (part == -2) return std::nullopt;
    return Side{box->second.release, part};
}

std::optional<std::int64_t> part_of(const Side& s) {
    const auto parts = split(s.release, '.');
    if (static_cast<std::size_t>(s.part) >= parts.size()) return std::nullopt;
    const std::string& p = parts[static_cast<std::size_t>(s.part)];
    std::int64_t n = 0;
    const auto r = std::from_chars(p.data(), p.data() + p.size(), n);
    if (r.ec != std::errc() || r.ptr != p.data() + p.size()) return std::nullopt;
    return n;
}

}  // namespace

std::optional<bool> pair_holds(const family::Family& family, const family::PairRule& rule,
                               const change::SetState& set) {
    for (const char* op : {"==", "<=", ">="}) {
        const auto at = rule.text.find(op);
        if (at == std::string::npos) continue;
        const auto left = side_of(set, trim(std::string_view(rule.text).substr(0, at)));
        const auto right = side_of(set, trim(std::string_view(rule.text).substr(at + 2)));
        if (!left || !right) return std::nullopt;
        std::optional<int> order;
        if (left->part < 0 || right->part < 0) {
            order = family::compare_versions(family.order, left->release, right->release);
        } else {
            const auto a = part_of(*left);
            const auto b = part_of(*right);
            if (a && b) order = *a < *b ? -1 : *a > *b ? 1 : 0;
        }
        if (!order) return std::nullopt;
        return op[0] == '=' ? *order == 0 : op[0] == '<' ? *order <= 0 : *order >= 0;
    }
    return std::nullopt;
}

Graph::Graph(const family::Family& family, std::vector<family::Release> releases, const change::SetState& start,
             const StepCost& cost)
    : family_(family), releases_(std::move(releases)), cost_(cost) {
    number_of(start);
}

std::optional<int> Graph::order(const std::string& a, const std::string& b) const {
    return family::compare_versions(family_.order, a, b);
}

std::size_t Graph::number_of(change::SetState s) {
    const auto [at, fresh] = numbers_.emplace(key_of(s), states_.size());
    if (fresh) states_.push_back(std::move(s));
    return at->second;
}

bool Graph::is_at(std::size_t state, std::size_t release) const {
    const auto& r = releases_[release];
    bool any = false;
    for (const auto& p : r.pieces) {
        const auto box = states_[state].find(p.box);
        if (box == states_[state].end() || box->second.release != r.release) return false;
        any = true;
    }
    return any;
}

unsigned Graph::broken_pairs(const change::SetState& s, std::string_view when) const {
    unsigned broken = 0;
    for (const auto& rule : family_.pairs) {
        if (rule.when != when) continue;
        const auto holds = pair_holds(family_, rule, s);
        if (holds && !*holds) broken |= bit(when == "at rest" ? Rule::pair_at_rest : Rule::pair_under_way);
    }
    return broken;
}

void Graph::add_doors(const change::SetState& before, const family::Release& r, Edge& e) const {
    const auto passes = [&](const std::string& door) {
        const auto reaches = family::compare_versions(family_.order, r.release, door);
        if (r.release != door && !(reaches && *reaches > 0)) return false;
        return std::any_of(before.begin(), before.end(), [&](const auto& box) {
            const auto below = family::compare_versions(family_.order, box.second.release, door);
            return !box.second.release.empty() && below && *below < 0;
        });
    };
    for (const auto& k : family_.known) {
        if (k.one_way_door && passes(k.release)) e.doors.push_back(k.release);
    }
    const bool listed = std::find(e.doors.begin(), e.doors.end(), r.release) != e.doors.end();
    if (r.one_way_door && !listed && passes(r.release)) e.doors.push_back(r.release);
    e.passes_door = !e.doors.empty();
}

const Edge& Graph::edge(std::size_t from, std::size_t release) {
    const auto [at, fresh] = edges_.try_emplace({from, release});
    Edge& e = at->second;
    if (!fresh) return e;
    const change::SetState before = states_[from];
    const family::Release& r = releases_[release];
    for (const auto& c : change::conditions(family_, r, before)) {
        if (c.holds == change::Truth::no) e.broken |= bit(rule_names.at(c.rule));
    }
    const change::SetState after = change::set_after(family_, before, r);
    e.broken |= broken_pairs(after, "under way") | broken_pairs(after, "at rest");
    add_doors(before, r, e);
    e.to = number_of(after);
    return e;
}

const Edge& Graph::weighed(std::size_t from, std::size_t release) {
    edge(from, release);
    Edge& e = edges_.at({from, release});
    if (e.weighed) return e;
    e.weighed = true;
    if (cost_ && (e.broken & ~at_rest_bit) == 0)
        std::tie(e.zone_s, e.time_s) = cost_(releases_[release], change::SetState(states_[from]));
    return e;
}

std::vector<std::string> Graph::texts(std::size_t from, std::size_t release, unsigned of_rules) const {
    std::vector<std::string> out;
    std::vector<std::string> codes;
    for (const auto& c : change::conditions(family_, releases_[release], states_[from])) {
        const bool wanted = (bit(rule_names.at(c.rule)) & of_rules) != 0;
        if (c.holds != change::Truth::no || !wanted) continue;
        if (std::find(codes.begin(), codes.end(), c.code) != codes.end()) continue;  // the same rule of a second box
        codes.push_back(c.code);
        out.push_back(c.text);
    }
    const auto after = change::set_after(family_, states_[from], releases_[release]);
    for (const auto& rule : family_.pairs) {
        const Rule kind = rule.when == "at rest" ? Rule::pair_at_rest : Rule::pair_under_way;
        const auto holds = pair_holds(family_, rule, after);
        if ((bit(kind) & of_rules) == 0 || !holds || *holds) continue;
        out.push_back("pair rule " + rule.when + ": " + rule.text);
    }
    return out;
}

namespace {

struct Label {
    int irreversible = 0;
    double zone_s = 0, time_s = 0;
    int steps = 0;
    std::size_t state = 0;
    std::shared_ptr<const Label> before;
    std::size_t by = 0;  // release that led here

    auto order() const { return std::tie(irreversible, zone_s, time_s, steps); }
    bool beats_or_equals(const Label& o) const {
        return irreversible <= o.irreversible && zone_s <= o.zone_s && time_s <= o.time_s && steps <= o.steps;
    }
};
using Held = std::shared_ptr<const Label>;

Found told(const Held& last) {
    Found f;
    f.irreversible = last->irreversible;
    f.zone_s = last->zone_s;
    f.time_s = last->time_s;
    for (Held l = last; l->before; l = l->before) f.way.emplace_back(l->before->state, l->by);
    std::reverse(f.way.begin(), f.way.end());
    return f;
}

}  // namespace

std::vector<Found> ways_to(Graph& graph, std::size_t target, unsigned dropped,
                           const std::vector<std::string>& needed_doors) {
    const auto worse = [](const Held& a, const Held& b) { return a->order() > b->order(); };
    std::priority_queue<Held, std::vector<Held>, decltype(worse)> open(worse);
    std::map<std::size_t, std::vector<Held>> settled;
    std::vector<Held> arrived;
    open.push(std::make_shared<Label>());
    const auto beaten = [](const std::vector<Held>& by, const Label& l) {
        return std::any_of(by.begin(), by.end(), [&](const Held& s) { return s->beats_or_equals(l); });
    };
    while (!open.empty()) {
        const Held now = open.top();
        open.pop();
        if (now->steps > 0 && now->by == target) {  // a last step: judged at rest when it was pushed
            if (!beaten(arrived, *now)) arrived.push_back(now);
            continue;
        }
        if (beaten(settled[now->state], *now) || beaten(arrived, *now)) continue;
        settled[now->state].push_back(now);
        for (std::size_t r = 0; r < graph.release_count(); ++r) {
            const bool last = r == target;
            const unsigned looked_at = ~dropped & (last ? ~bit(Rule::pair_under_way) : ~at_rest_bit);
            if (const Edge& way = graph.edge(now->state, r);
                (way.broken & looked_at) != 0 || (way.to == now->state && !last))
                continue;
            const Edge e = graph.weighed(now->state, r);
            auto next = std::make_shared<Label>(*now);
            next->before = now;
            next->by = r;
            next->state = e.to;
            next->steps += 1;
            next->zone_s += e.zone_s;
            next->time_s += e.time_s;
            const bool needless = std::any_of(e.doors.begin(), e.doors.end(), [&](const std::string& d) {
                return std::find(needed_doors.begin(), needed_doors.end(), d) == needed_doors.end();
            });
            next->irreversible += needless ? 1 : 0;
            open.push(std::move(next));
        }
    }
    std::vector<Found> out;
    for (const auto& l : arrived) out.push_back(told(l));
    return out;
}

std::vector<bool> reachable(Graph& graph) {
    std::vector<bool> out(graph.release_count(), false);
    std::vector<std::size_t> open{0};
    std::vector<bool> seen{true};
    while (!open.empty()) {
        const std::size_t now = open.back();
        open.pop_back();
        for (std::size_t r = 0; r < graph.release_count(); ++r) {
            const Edge e = graph.edge(now, r);
            if ((e.broken & ~bit(Rule::pair_under_way)) == 0) out[r] = true;
            if ((e.broken & ~at_rest_bit) != 0) continue;
            if (seen.size() <= e.to) seen.resize(e.to + 1, false);
            if (!seen[e.to]) open.push_back(e.to);
            seen[e.to] = true;
        }
    }
    return out;
}

}  // namespace fettle::route
