// When no way leads to a release: what stands against it, and what would open one. Inside the room.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/route/graph.h"
#include "fettle/route/route.h"

namespace fettle::route {

// What the answer works with.
struct Search {
    const family::Family& family;
    const std::vector<family::Release>& shelf;
    const change::SetState& set;
    Graph& graph;
};

std::optional<std::size_t> number_of(const std::vector<family::Release>& shelf, const std::string& release);
// Releases that somebody names but the shelf has not.
std::vector<std::string> missing(const Search& s);
void judge_no_route(const Search& s, const std::string& target, RouteAnswer& a);

}  // namespace fettle::route
