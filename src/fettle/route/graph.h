// The states a set can be in and the releases that lead from one to another, judged once each. The search and every
// question about what stands against a way are asked of the same edges.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "fettle/route/facts.h"
#include "fettle/route/route.h"

namespace fettle::route {

struct Edge {
    static constexpr std::uint32_t not_yet = 0xffffffffu;
    std::uint32_t to = not_yet;             // the state it leads to, once asked for
    std::uint16_t broken = 0, unknown = 0;  // rules, but for the direction
    bool judged = false, weighed = false;
    StepWeight weight;  // once weighed
};

class Graph {
public:
    // Family and releases are not copied: they must outlive it.
    Graph(const family::Family& family, const std::vector<family::Release>& releases, const change::SetState& start,
          const StepCost& cost);

    std::size_t release_count() const { return releases_.size(); }
    const family::Release& release(std::size_t i) const { return releases_[i]; }
    change::SetState state(std::size_t i) const { return facts_.in_words(states_[i]); }
    // By the family's order, where it can compare; ties and incomparable ones as given.
    std::optional<int> order(const std::string& a, const std::string& b) const;

    // Rules of a step on the way to a target: of the last step those at rest, of the others those under way.
    Marks marks(std::size_t from, std::size_t release, std::size_t target);
    std::size_t leads_to(std::size_t from, std::size_t release);
    void weigh_nothing() { cost_ = {}; }
    // As StepCost says; dear, and computed once, for edges that a way may really take.
    StepWeight cost(std::size_t from, std::size_t release);
    // Releases by age and name, however the shelf has them: of equal ways the same one is found.
    const std::vector<std::size_t>& in_order() const { return order_; }
    const Facts& facts() const { return facts_; }
    bool passes_door(std::size_t from, std::size_t release) const {
        return !facts_.doors(states_[from], release).empty();
    }
    bool passes_needless(std::size_t from, std::size_t release, const std::vector<std::string>& needed) const {
        return facts_.passes_needless(states_[from], release, needed);
    }
    // Every box that the release has pieces for shows it already.
    bool is_at(std::size_t state, std::size_t release) const { return facts_.is_at(states_[state], release); }
    // The texts of what is broken on an edge, of these rules only, each rule's first.
    std::vector<std::string> texts(std::size_t from, std::size_t release, std::size_t target, unsigned of_rules) const;

private:
    Edge& edge(std::size_t from, std::size_t release);
    std::size_t number_of(const Now& now);

    const family::Family& family_;
    const std::vector<family::Release>& releases_;
    StepCost cost_;
    Facts facts_;
    std::vector<Now> states_;
    std::unordered_multimap<std::uint64_t, std::uint32_t> numbers_;  // by hash
    std::vector<std::vector<Edge>> edges_;                           // by state, then release
    Now next_;
    std::vector<std::size_t> order_;
    std::vector<std::uint32_t> last_to_;  // by release: where it led last, which is most often where it leads
};

// Steps of one found way: (state before, release).
using Way = std::vector<std::pair<std::size_t, std::size_t>>;
struct Found {
    Way way;
    int doubt = 0;  // the worst of its steps', and 1 where a rule is not known to hold
    int irreversible = 0;
    double zone_s = 0, time_s = 0;
};

// The edges that some way to the release takes: from a state that can be come by, to one from which it is reached.
struct Useful {
    std::vector<std::vector<bool>> edges;  // by state, then release; short where there is none
    std::size_t count = 0;
    bool has(std::size_t from, std::size_t release) const {
        return from < edges.size() && release < edges[from].size() && edges[from][release];
    }
};
Useful useful_edges(Graph& graph, std::size_t target);

// All non-dominated ways to the release, in the order of doubt, doors, zone, time and steps; `dropped` rules are not
// looked at. Empty: none. needed_doors: doors that the target needs anyway. only: no other edges are looked at, or
// weighed.
std::vector<Found> ways_to(Graph& graph, std::size_t target, unsigned dropped = 0,
                           const std::vector<std::string>& needed_doors = {}, const Useful* only = nullptr);
// Releases that some way leads to.
std::vector<bool> reachable(Graph& graph);

}  // namespace fettle::route
