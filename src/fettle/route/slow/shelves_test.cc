// Thousands of small shelves against the plain search; and large ones with one criterion against Dijkstra's algorithm
// as Boost.Graph has it, which nobody here wrote.
//   route_slow_test; FETTLE_RANDOM_SEED draws others
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <boost/graph/adjacency_list.hpp>
#include <boost/graph/dijkstra_shortest_paths.hpp>
#include <cstdlib>

#include "fettle/route/test_shelves.h"

namespace fettle::route {
namespace {

std::uint64_t first_seed() {
    const char* given = std::getenv("FETTLE_RANDOM_SEED");
    return given != nullptr ? std::strtoull(given, nullptr, 10) : std::random_device{}();
}

TEST(Shelves, ThousandsEqualThePlainSearch) {
    const auto seed = first_seed();
    test::Counted n;
    for (std::uint64_t i = 0; i < 24'000; ++i) {  // since ways up never go down, few shelves have several
        std::mt19937_64 random(seed + i);
        ASSERT_EQ(test::differs(test::random_shelf(random), n), "") << "FETTLE_RANDOM_SEED=" << seed + i;
    }
    fmt::print(
        "routes {}, with others beside {}; none {}, of these opened by an addition {}, by one rule {}, by several "
        "together {}\n",
        n.routes, n.several, n.none, n.opened, n.single, n.together);
    EXPECT_GT(n.several, 100);
    EXPECT_GT(n.opened, 100);
    EXPECT_GT(n.single, 100);
    EXPECT_GT(n.together, 20);
}

// One box, 400 releases, each installing from some way below: an edge from every release to every later one that it
// allows, with seconds drawn at random. What counts is seconds alone, so the quickest way is Dijkstra's.
TEST(Shelves, LargeOnesEqualDijkstra) {
    using Graph = boost::adjacency_list<boost::vecS, boost::vecS, boost::directedS, boost::no_property,
                                        boost::property<boost::edge_weight_t, double>>;
    for (int round = 0; round < 20; ++round) {
        std::mt19937_64 random(first_seed() + static_cast<std::uint64_t>(round));
        const std::size_t n = 400;
        auto family = change::test::dunnock();
        family.known.clear();
        family.pairs.clear();
        std::vector<family::Release> shelf;
        const auto name = [](std::size_t i) { return fmt::format("27.{}.{}", i / 20, 100 + i % 20); };
        std::vector<std::size_t> needs(n, 0);
        for (std::size_t i = 0; i < n; ++i) {
            auto r = change::test::release(name(i), "1", "", 1, 1);
            if (i > 0) needs[i] = i - std::min(i, 1 + random() % 60);
            r.installs_from = name(needs[i]);
            shelf.push_back(r);
        }
        std::vector<std::vector<double>> seconds(n, std::vector<double>(n));
        for (auto& row : seconds)
            for (auto& s : row) s = static_cast<double>(100 * (1 + random() % 20));  // apart by more than the noise
        std::map<std::string, std::size_t> number;
        for (std::size_t i = 0; i < n; ++i) number[name(i)] = i;
        const StepCost cost = [&](const family::Release& r, const change::SetState& before) {
            return StepWeight{0, seconds[number[before.at("main").release]][number[r.release]]};
        };
        Graph g(n);
        for (std::size_t from = 0; from < n; ++from)
            for (std::size_t to = from + 1; to < n; ++to)  // the way up never goes down
                if (from >= needs[to]) boost::add_edge(from, to, seconds[from][to], g);
        std::vector<double> distance(n);
        boost::dijkstra_shortest_paths(g, 0, boost::distance_map(distance.data()));
        const auto set = change::test::set_at(name(0));
        const std::size_t target = n - 1 - random() % 50;
        const auto a = find_route(family, shelf, set, {name(target), true, "", n * n}, cost);
        ASSERT_TRUE(a.recommended);
        ASSERT_LT(distance[target], 9900);  // a per cent of it is less than what lies between two
        EXPECT_EQ(a.recommended->p90_s, distance[target]) << "FETTLE_RANDOM_SEED=" << first_seed();
        EXPECT_GT(a.recommended->steps.size(), 4u);
    }
}

}  // namespace
}  // namespace fettle::route
