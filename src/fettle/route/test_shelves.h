// For tests: small shelves at random, and the route's question answered once more in the plainest way: every sequence
// of releases that comes to no state twice, one by one through change::conditions, change::set_after and pair_holds.
#pragma once

#include <algorithm>
#include <functional>
#include <map>
#include <random>
#include <set>
#include <string>
#include <tuple>
#include <vector>

#include "fettle/change/test_releases.h"
#include "fettle/route/facts.h"
#include "fettle/route/route.h"

namespace fettle::route::test {

using Costs = std::tuple<int, int, double, double, int>;  // doubt, doors not needed, zone seconds, seconds, steps

struct Shelf {
    family::Family family = change::test::dunnock();
    std::vector<family::Release> releases;
    change::SetState set;
    std::string target;
};

inline Shelf random_shelf(std::mt19937_64& random) {
    const auto one_in = [&](unsigned n) { return random() % n == 0; };
    const std::vector<std::string> names{"26.1.090", "26.4.102", "27.1.110", "27.2.001", "27.3.118"};
    const auto pick = [&] { return names[random() % names.size()]; };
    Shelf s;
    s.family.known.clear();
    s.family.refuses_older = one_in(8);
    for (const auto& n : names) {
        family::KnownRelease k;
        k.release = n;
        k.stepping_stone = one_in(5);
        k.one_way_door = one_in(4);
        if (!one_in(3)) k.counter = static_cast<std::int64_t>(random() % 3);
        if (!one_in(4)) s.family.known.push_back(k);
    }
    for (const auto& n : names) {
        if (one_in(5)) continue;
        auto r = change::test::release(n, "1", one_in(2) ? "" : pick(), {}, 1);
        if (one_in(2)) r.counter = static_cast<std::int64_t>(random() % 3);
        r.one_way_door = one_in(6);
        const auto boxes = random() % 4;  // 0: main alone, 1: display alone, else both
        if (boxes < 2) std::erase_if(r.pieces, [&](const auto& p) { return (p.box == "main") == (boxes == 1); });
        if (one_in(8)) r.markets = {"MD"};
        if (one_in(8))
            for (auto& p : r.pieces) p.issues = {"B"};
        s.releases.push_back(r);
    }
    if (one_in(3)) s.family.pairs.push_back({"display.step <= main.build", "under way"});
    if (one_in(6)) s.family.pairs.push_back({"main.release >= display.release", "under way"});
    std::shuffle(s.releases.begin(), s.releases.end(), random);
    s.set = change::test::set_at(pick());
    if (one_in(3)) s.set["display"].release = pick();
    if (one_in(4)) s.set["main"].counter = static_cast<std::int64_t>(random() % 3);
    s.set = with_counters(s.family, s.releases, s.set);
    s.target = s.releases.empty() ? names.front() : s.releases[random() % s.releases.size()].release;
    return s;
}

// The doors that only indexes name, written into the family file: what is a door there is one here.
inline Shelf with_doors_written_down(Shelf s) {
    for (const auto& r : s.releases) {
        if (!r.one_way_door || r.markets == std::vector<std::string>{"MD"}) continue;  // the set is for another market
        bool there = false;
        for (auto& k : s.family.known) {
            if (k.release != r.release) continue;
            there = k.one_way_door = true;
            if (!k.counter) k.counter = r.counter;
        }
        if (!there) s.family.known.push_back({r.release, r.counter, false, true, {}});
    }
    return s;
}

// Costs without any rule in them.
inline StepWeight cost(const family::Release& r, const change::SetState& before) {
    std::size_t h = std::hash<std::string>()(r.release + before.begin()->second.release);
    return {static_cast<double>(h % 5), static_cast<double>(h / 5 % 7), h / 35 % 6 == 0 ? 1 : 0};
}

inline bool newer(const Shelf& s, const std::string& a, const std::string& b) {
    return family::compare_versions(s.family.order, a, b).value_or(0) > 0;
}

inline bool writes(const family::Release& r, const std::string& role) {
    return std::any_of(r.pieces.begin(), r.pieces.end(), [&](const auto& p) { return p.box == role; });
}

inline const family::Release& named(const std::vector<family::Release>& releases, const std::string& name) {
    return *std::find_if(releases.begin(), releases.end(), [&](const auto& r) { return r.release == name; });
}

// Does it lead a box away from the target?
inline bool away(const Shelf& s, const family::Release& target, const family::Release& r, const change::SetState& now) {
    const bool back = std::any_of(s.set.begin(), s.set.end(), [&](const auto& b) {
        return writes(target, b.first) && newer(s, b.second.release, target.release);
    });
    return std::any_of(now.begin(), now.end(), [&](const auto& b) {
        const std::string& has = b.second.release;
        if (!writes(r, b.first) || has == r.release) return false;
        if (!back) return newer(s, has, r.release);
        const bool above = newer(s, r.release, has) && newer(s, r.release, target.release);
        return above || (newer(s, has, r.release) && newer(s, target.release, r.release));
    });
}

// Rules that do not hold, and those not known to.
inline Marks marks(const Shelf& s, const std::vector<family::Release>& releases, const family::Release& r,
                   const change::SetState& now) {
    Marks out;
    for (const auto& c : change::conditions(s.family, r, now)) {
        if (c.holds == change::Truth::no) out.broken |= bit(rule_named(c.rule));
        if (c.holds == change::Truth::unknown) out.unknown |= bit(rule_named(c.rule));
    }
    const auto after = change::set_after(s.family, now, r);
    for (const auto& p : s.family.pairs) {
        const unsigned rule = bit(p.when == "at rest" ? Rule::pair_at_rest : Rule::pair_under_way);
        const auto holds = pair_holds(s.family, p, after);
        (holds ? out.broken : out.unknown) |= holds == true ? 0 : rule;
    }
    if (away(s, named(releases, s.target), r, now)) out.broken |= bit(Rule::direction);
    const unsigned looked_at = r.release == s.target ? ~bit(Rule::pair_under_way) : ~at_rest_bit;
    return {out.broken & looked_at, out.unknown & looked_at};
}

inline bool passes(const Shelf& s, const std::string& door, const std::string& to, const change::SetState& now) {
    const bool below =
        std::any_of(now.begin(), now.end(), [&](const auto& b) { return newer(s, door, b.second.release); });
    return below && !newer(s, door, to);
}

// Cost vectors of all ways that no other beats.
inline std::set<Costs> ways(const Shelf& s, const std::vector<family::Release>& releases, unsigned dropped) {
    if (std::none_of(releases.begin(), releases.end(), [&](const auto& r) { return r.release == s.target; })) return {};
    std::vector<std::string> doors;
    for (const auto& k : s.family.known)
        if (k.one_way_door && !passes(s, k.release, s.target, s.set)) doors.push_back(k.release);  // not needed
    std::set<Costs> all;
    const std::function<void(const change::SetState&, std::vector<change::SetState>, Costs)> search =
        [&](const change::SetState& now, std::vector<change::SetState> been, Costs so_far) {
            been.push_back(now);
            for (const auto& r : releases) {
                const bool last = r.release == s.target;
                const Marks m = marks(s, releases, r, now);
                if ((m.broken & ~dropped) != 0) continue;
                const auto next = change::set_after(s.family, now, r);
                const StepWeight w = cost(r, now);
                Costs c = so_far;
                std::get<0>(c) = std::max(std::get<0>(c), w.doubt);
                if ((m.unknown & ~dropped) != 0) std::get<0>(c) = std::max(std::get<0>(c), 1);
                std::get<1>(c) += std::any_of(doors.begin(), doors.end(),
                                              [&](const auto& d) { return passes(s, d, r.release, now); });
                std::get<2>(c) += w.zone_s;
                std::get<3>(c) += w.time_s;
                std::get<4>(c) += 1;
                if (last)
                    all.insert(c);
                else if (std::find(been.begin(), been.end(), next) == been.end())
                    search(next, been, c);
            }
        };
    search(s.set, {}, {0, 0, 0, 0, 0});
    std::set<Costs> best;
    for (const auto& a : all) {
        const bool beaten = std::any_of(all.begin(), all.end(), [&](const Costs& b) {
            return a != b && std::get<0>(b) <= std::get<0>(a) && std::get<1>(b) <= std::get<1>(a) &&
                   std::get<2>(b) <= std::get<2>(a) && std::get<3>(b) <= std::get<3>(a) &&
                   std::get<4>(b) <= std::get<4>(a);
        });
        if (!beaten) best.insert(a);
    }
    return best;
}

inline Costs costs_of(const Route& r) {
    return {r.doubt, r.irreversible, r.no_way_back_p90_s, r.p90_s, static_cast<int>(r.steps.size())};
}

// Seconds so near to each other that they do not decide: 1 s and 1 per cent of the lesser.
inline bool less(double a, double b) {
    return b - a > 1 + a / 100;
}

// Which of the unbeaten ways is to be taken.
inline Costs taken(std::set<Costs> of) {
    const auto keep = [&](const std::function<bool(const Costs&, const Costs&)>& before) {
        std::set<Costs> left;
        for (const Costs& a : of)
            if (std::none_of(of.begin(), of.end(), [&](const Costs& b) { return before(b, a); })) left.insert(a);
        of = left;
    };
    keep([](const Costs& b, const Costs& a) { return std::get<0>(b) < std::get<0>(a); });
    keep([](const Costs& b, const Costs& a) { return std::get<1>(b) < std::get<1>(a); });
    keep([](const Costs& b, const Costs& a) { return less(std::get<2>(b), std::get<2>(a)); });
    keep([](const Costs& b, const Costs& a) { return less(std::get<3>(b), std::get<3>(a)); });
    keep([](const Costs& b, const Costs& a) { return std::get<4>(b) < std::get<4>(a); });
    return *of.begin();
}

struct Counted {
    int routes = 0, several = 0, none = 0, opened = 0, single = 0, together = 0;
};

// Empty when the answer is the plain search's; otherwise what differs.
inline std::string differs(const Shelf& asked, Counted& counted) {
    const auto a = find_route(asked.family, asked.releases, asked.set, {asked.target, true, ""}, cost);
    const Shelf s = with_doors_written_down(asked);
    if (change::test::reason(a.judgement, "nothing-to-do") != nullptr) return {};
    const auto best = ways(s, s.releases, 0);
    if (best.empty() != !a.recommended) return best.empty() ? "a way where there is none" : "no way where there is one";
    for (const auto& j : a.releases) {
        Shelf other = s;
        other.target = j.release;
        if (j.on_shelf && j.reachable == ways(other, s.releases, 0).empty()) return j.release + " reachable or not";
    }
    if (a.recommended) {
        ++counted.routes;
        counted.several += a.others.empty() ? 0 : 1;
        const Costs chosen = taken(best);
        if (costs_of(*a.recommended) != chosen) return "another way is to be recommended";
        std::set<Costs> got, others;
        for (const auto& o : a.others) got.insert(costs_of(o));
        for (const Costs& o : best) {
            const bool better = std::get<0>(o) < std::get<0>(chosen) || std::get<1>(o) < std::get<1>(chosen) ||
                                less(std::get<2>(o), std::get<2>(chosen)) ||
                                less(std::get<3>(o), std::get<3>(chosen)) || std::get<4>(o) < std::get<4>(chosen);
            if (better) others.insert(o);
        }
        return got == others ? "" : "other ways than the plain search's";
    }
    ++counted.none;
    // Rules that open a way when one alone is dropped; and if none does, the fewest that must be dropped together.
    std::size_t single = 0, fewest = 0;
    for (std::size_t size = 1; size <= rules && fewest == 0; ++size) {
        for (unsigned dropped = 1; dropped < 1u << rules; ++dropped) {
            if (static_cast<std::size_t>(__builtin_popcount(dropped)) != size || ways(s, s.releases, dropped).empty())
                continue;
            fewest = size;
            if (size == 1) ++single;
        }
    }
    if (a.against.empty() != (fewest == 0)) return "what stands against it is named wrongly";
    if (single > 0 && a.against.size() != single) return "not every rule that opens a way when it is dropped is named";
    (single > 0 ? counted.single : counted.together) += fewest > 0 ? 1 : 0;
    // The smallest addition to the shelf that opens a way.
    std::vector<std::string> missing;
    const auto on_shelf = [&](const std::string& n) {
        return std::any_of(s.releases.begin(), s.releases.end(), [&](const auto& r) { return r.release == n; });
    };
    const auto see = [&](const std::string& n) {
        if (!n.empty() && !on_shelf(n) && std::find(missing.begin(), missing.end(), n) == missing.end())
            missing.push_back(n);
    };
    for (const auto& k : s.family.known) see(k.release);
    for (const auto& r : s.releases) see(r.installs_from);
    std::size_t addition = 0;
    for (unsigned pick = 1; pick < 1u << missing.size(); ++pick) {
        auto more = s.releases;
        for (std::size_t i = 0; i < missing.size(); ++i) {
            if ((pick >> i & 1u) == 0) continue;
            family::Release r;
            r.family = s.family.id;
            r.release = missing[i];
            r.counter = change::counter_of(s.family, missing[i]);
            for (const auto& b : s.family.boxes) r.pieces.push_back({"any", b.role, "", missing[i], {}, {}});
            more.push_back(r);
        }
        const auto size = static_cast<std::size_t>(__builtin_popcount(pick));
        if ((addition == 0 || size < addition) && !ways(s, more, 0).empty()) addition = size;
    }
    counted.opened += addition > 0 ? 1 : 0;
    if (a.would_open.size() != addition)
        return "would open: " + std::to_string(a.would_open.size()) + ", by the plain search " +
               std::to_string(addition);
    return {};
}

}  // namespace fettle::route::test
