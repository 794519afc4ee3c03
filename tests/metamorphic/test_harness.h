// Relations between answers, asked of random worlds: what must hold between two questions that differ in one thing, and
// no more. Nothing here computes what an answer should be, so nothing here can share a mistake with what it asks.
//
// A world in which a relation is violated is made as small as it goes by leaving things out, and then shown.
#pragma once

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdint>
#include <cstdlib>
#include <functional>
#include <random>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"

namespace fettle::metamorphic {

using Random = std::mt19937_64;

inline bool one_in(Random& random, unsigned n) {
    return random() % n == 0;
}
template <class T>
const T& any_of_these(Random& random, const std::vector<T>& these) {
    return these[random() % these.size()];
}

// Of one relation in one world: nullopt-like when it says nothing there.
struct Outcome {
    bool asked = true;
    std::string wrong;  // empty: it holds
};
inline const Outcome not_asked{false, {}};

template <class World>
struct Relation {
    const char* name;
    std::function<Outcome(const World&, Random&)> holds;
};

template <class World>
struct Suite {
    const char* name;
    std::function<World(Random&)> make;
    std::function<std::vector<World>(const World&)> smaller;  // each with one thing left out
    std::function<std::string(const World&)> show;
    std::vector<Relation<World>> relations;
};

// "can't say" and "halt" are no start; "fit" and "mind" are one.
inline bool may_start(Verdict v) {
    return v == Verdict::fit || v == Verdict::mind;
}
inline Outcome never_opens(Verdict before, Verdict after, const std::string& by) {
    if (may_start(before)) return not_asked;
    if (!may_start(after)) return {};
    return {true, fmt::format("{} turns {} into {}", by, words(before), words(after))};
}
inline Outcome never_betters(Verdict before, Verdict after, const std::string& by) {
    if (after >= before) return {};
    return {true, fmt::format("{} turns {} into {}", by, words(before), words(after))};
}

// Some draws of what the relation picks by chance: for a world being made smaller, whose things have other numbers.
template <class World>
std::string violated(const Relation<World>& relation, const World& world, std::uint64_t seed, int draws) {
    for (int i = 0; i < draws; ++i) {
        Random random(seed + static_cast<std::uint64_t>(i));
        const Outcome o = relation.holds(world, random);
        if (o.asked && !o.wrong.empty()) return o.wrong;
    }
    return {};
}

template <class World>
World shrunk(const Suite<World>& suite, const Relation<World>& relation, World world, std::uint64_t seed) {
    for (bool smaller = true; smaller;) {
        smaller = false;
        for (World& w : suite.smaller(world)) {
            if (violated(relation, w, seed, 12).empty()) continue;
            world = std::move(w);
            smaller = true;
            break;
        }
    }
    return world;
}

inline std::uint64_t number_from(const char* variable, std::uint64_t otherwise) {
    const char* given = std::getenv(variable);
    return given != nullptr ? std::strtoull(given, nullptr, 10) : otherwise;
}

// FETTLE_METAMORPHIC: how many times the rounds of the fast tier, which are the same each time; more of them are drawn.
// FETTLE_RANDOM_SEED repeats a run.
template <class World>
void run(const Suite<World>& suite, std::uint64_t rounds) {
    const std::uint64_t many = number_from("FETTLE_METAMORPHIC", 1);
    rounds *= many;
    const std::uint64_t first = number_from("FETTLE_RANDOM_SEED", many > 1 ? std::random_device{}() : 1);
    std::vector<std::uint64_t> asked(suite.relations.size(), 0);
    std::uint64_t in_all = 0;
    for (std::uint64_t round = 0; round < rounds; ++round) {
        Random random(first + round);
        const World world = suite.make(random);
        for (std::size_t r = 0; r < suite.relations.size(); ++r) {
            const auto& relation = suite.relations[r];
            Random picks(first + round);
            const Outcome o = relation.holds(world, picks);
            asked[r] += o.asked;
            in_all += o.asked;
            if (!o.asked || o.wrong.empty()) continue;
            const World small = shrunk(suite, relation, world, first + round);
            FAIL() << suite.name << ": \"" << relation.name
                   << "\" does not hold: " << violated(relation, small, first + round, 12)
                   << "\nFETTLE_RANDOM_SEED=" << first + round << "\nin this world:\n"
                   << suite.show(small);
        }
    }
    fmt::print("{}: {} random worlds, {} relations, asked {} times, none violated\n", suite.name, rounds,
               suite.relations.size(), in_all);
    EXPECT_GT(in_all, rounds);
    for (std::size_t r = 0; r < asked.size(); ++r) {
        fmt::print("  {:6}  {}\n", asked[r], suite.relations[r].name);
        // The few worlds of the fast tier need not ask what is seldom.
        if (many > 1) {
            EXPECT_GT(asked[r], 0u) << suite.relations[r].name << ": no world asked it";
        }
    }
}

}  // namespace fettle::metamorphic
