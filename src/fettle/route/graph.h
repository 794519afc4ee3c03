// The states a set can be in and the releases that lead from one to another, judged once each. The search and every
// question about what stands against a way are asked of the same edges.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/route/route.h"

namespace fettle::route {

// Rules that can stand against an edge, one bit each.
enum class Rule : unsigned { family, boxes, market, way, counter, issue, pair_under_way, pair_at_rest };
inline constexpr unsigned rules = 8;
inline unsigned bit(Rule r) {
    return 1u << static_cast<unsigned>(r);
}
inline constexpr unsigned at_rest_bit = 1u << static_cast<unsigned>(Rule::pair_at_rest);

struct Edge {
    std::size_t to = 0;
    unsigned broken = 0;  // rules that do not hold
    bool passes_door = false;
    std::vector<std::string> doors;  // passed by this edge
    double zone_s = 0, time_s = 0;   // as StepCost says, once weighed
    bool weighed = false;
};

class Graph {
public:
    Graph(const family::Family& family, std::vector<family::Release> releases, const change::SetState& start,
          const StepCost& cost);

    std::size_t release_count() const { return releases_.size(); }
    const family::Release& release(std::size_t i) const { return releases_[i]; }
    const change::SetState& state(std::size_t i) const { return states_[i]; }
    // By the family's order, where it can compare; ties and incomparable ones as given.
    std::optional<int> order(const std::string& a, const std::string& b) const;

    const Edge& edge(std::size_t from, std::size_t release);  // valid until the next call
    // The same with its cost, which is dear and reckoned once, for edges that a way may really take.
    const Edge& weighed(std::size_t from, std::size_t release);
    // Every box that the release has pieces for shows it already.
    bool is_at(std::size_t state, std::size_t release) const;
    // The texts of what is broken on an edge, of these rules only, each rule's first.
    std::vector<std::string> texts(std::size_t from, std::size_t release, unsigned of_rules) const;

private:
    std::size_t number_of(change::SetState s);
    void add_doors(const change::SetState& before, const family::Release& r, Edge& e) const;
    unsigned broken_pairs(const change::SetState& s, std::string_view when) const;

    const family::Family& family_;
    std::vector<family::Release> releases_;
    StepCost cost_;
    std::vector<change::SetState> states_;
    std::map<std::string, std::size_t> numbers_;
    std::map<std::pair<std::size_t, std::size_t>, Edge> edges_;
};

// Steps of one found way: (state before, release).
using Way = std::vector<std::pair<std::size_t, std::size_t>>;
struct Found {
    Way way;
    int irreversible = 0;
    double zone_s = 0, time_s = 0;
};

// All non-dominated ways to the release, best first in the order of routes; `dropped` rules are not looked at. Empty:
// none. needed_doors: doors that the target needs anyway.
std::vector<Found> ways_to(Graph& graph, std::size_t target, unsigned dropped = 0,
                           const std::vector<std::string>& needed_doors = {});
// Releases that some way leads to, at rest.
std::vector<bool> reachable(Graph& graph);

}  // namespace fettle::route
