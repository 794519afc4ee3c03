// The answer: the recommended route and why, the ones that it does not beat, every release judged; and when there is no
// way, what stands against it and what would open one.
#include "fettle/route/route.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/route/graph.h"

namespace fettle::route {
namespace {

std::vector<std::size_t> by_age(const Graph& g, std::size_t n) {
    std::vector<std::size_t> placed, order;  // those that the family can compare, and all
    const auto compared = [&](std::size_t a, std::size_t b) {
        return g.order(g.release(a).release, g.release(b).release);
    };
    for (std::size_t i = 0; i < n; ++i) {
        if (compared(i, i)) placed.push_back(i);
    }
    std::sort(placed.begin(), placed.end(), [&](std::size_t a, std::size_t b) {
        const int c = compared(a, b).value_or(0);
        return c != 0 ? c < 0 : a < b;
    });
    order = placed;
    for (std::size_t i = 0; i < n; ++i) {
        if (!compared(i, i)) order.push_back(i);
    }
    return order;
}

// Doors between the set as it stands and the target: whoever wants the target wants them too.
std::vector<std::string> needed_doors(const family::Family& family, const Graph& g, const change::SetState& set,
                                      const family::Release& target) {
    std::vector<std::string> out;
    const auto need = [&](const std::string& door) {
        const auto reaches = g.order(target.release, door);
        const bool up_to = reaches && *reaches >= 0;
        const bool below = std::any_of(set.begin(), set.end(), [&](const auto& box) {
            const auto c = g.order(box.second.release, door);
            return c && *c < 0;
        });
        if (up_to && below) out.push_back(door);
    };
    for (const auto& k : family.known) {
        if (k.one_way_door) need(k.release);
    }
    if (target.one_way_door) need(target.release);
    return out;
}

Route route_of(const family::Family& family, Graph& g, const Found& f) {
    Route r;
    r.irreversible = f.irreversible;
    r.no_way_back_p90_s = f.zone_s;
    r.p90_s = f.time_s;
    for (const auto& [from, release] : f.way) {
        const auto* known = family.known_release(g.release(release).release);
        r.steps.push_back({g.release(release).release, g.state(from), g.state(g.leads_to(from, release)),
                           g.passes_door(from, release), known != nullptr && known->stepping_stone});
    }
    return r;
}

std::string names_of(const Route& r) {
    std::vector<std::string> names;
    for (const auto& s : r.steps) names.push_back(s.release);
    return join(names, ", then ");
}

void say_why(RouteAnswer& a) {
    Route& best = *a.recommended;
    std::string why = best.steps.size() == 1 ? fmt::format("one step to {}", best.steps.back().release)
                                             : fmt::format("{} steps: {}", best.steps.size(), names_of(best));
    for (const auto& s : best.steps) {
        if (s.stepping_stone && &s != &best.steps.back()) why += fmt::format("; {} is a stepping stone", s.release);
    }
    if (a.others.empty()) {
        why += "; no other way does better on any count";
    } else {
        const Route& o = a.others.front();
        const char* count = best.irreversible < o.irreversible             ? "it has fewer steps without return"
                            : best.no_way_back_p90_s < o.no_way_back_p90_s ? "it is shorter in zones with no way back"
                            : best.p90_s < o.p90_s                         ? "it is quicker"
                                                                           : "it has fewer steps";
        why += fmt::format("; chosen before {} because {}", names_of(o), count);
    }
    best.why = why;
}

// What the answer works with.
struct Search {
    const family::Family& family;
    const std::vector<family::Release>& shelf;
    const change::SetState& set;
    Graph& graph;
};

std::optional<std::size_t> number_of(const std::vector<family::Release>& shelf, const std::string& release) {
    for (std::size_t i = 0; i < shelf.size(); ++i) {
        if (shelf[i].release == release) return i;
    }
    return std::nullopt;
}

// Releases that somebody names but the shelf has not.
std::vector<std::string> missing(const Search& s) {
    std::vector<std::string> out;
    const auto add = [&](const std::string& name) {
        if (name.empty() || number_of(s.shelf, name)) return;
        if (std::find(out.begin(), out.end(), name) == out.end()) out.push_back(name);
    };
    for (const auto& k : s.family.known) add(k.release);
    for (const auto& r : s.shelf) add(r.installs_from);
    return out;
}

// A release of which only the name and the family file's lines are known: whatever is not known does not stand against.
family::Release stand_in_for(const family::Family& family, const std::string& name) {
    family::Release r;
    r.family = family.id;
    r.release = name;
    r.counter = change::counter_of(family, name);
    for (const auto& b : family.boxes) r.pieces.push_back({"any", b.role, "", name, {}, {}});
    return r;
}

// Calls `use` with every choice of `size` out of n, in order, until it says true.
bool choose(std::size_t n, std::size_t size, const std::function<bool(const std::vector<std::size_t>&)>& use) {
    std::vector<std::size_t> pick;
    const std::function<bool(std::size_t)> more = [&](std::size_t from) {
        if (pick.size() == size) return use(pick);
        for (std::size_t i = from; i < n; ++i) {
            pick.push_back(i);
            if (more(i + 1)) return true;
            pick.pop_back();
        }
        return false;
    };
    return more(0);
}

// The smallest addition to the shelf that opens a way to the target: everything that is missing is put on it, and of
// all ways the one that uses the fewest of those is taken.
std::vector<std::string> would_open(const Search& s, const std::string& target) {
    auto releases = s.shelf;
    const auto candidates = missing(s);
    const bool absent = !number_of(s.shelf, target).has_value();
    if (absent && std::find(candidates.begin(), candidates.end(), target) == candidates.end())
        return {};  // nobody names it: nothing is known of it at all
    for (const auto& name : candidates) releases.push_back(stand_in_for(s.family, name));
    const auto at = number_of(releases, target);
    const std::size_t here = s.shelf.size();
    Graph g(s.family, releases, s.set, [&](const family::Release& r, const change::SetState&) {
        const bool on_shelf = number_of(s.shelf, r.release).has_value();
        return std::pair<double, double>(on_shelf ? 0 : 1, 0);
    });
    const auto ways = ways_to(g, *at);
    const auto fewest = std::min_element(ways.begin(), ways.end(), [](const Found& a, const Found& b) {
        return std::make_pair(a.zone_s, a.way.size()) < std::make_pair(b.zone_s, b.way.size());
    });
    std::vector<std::string> added;
    if (fewest == ways.end()) return added;
    for (const auto& [from, release] : fewest->way) {
        const std::string& name = g.release(release).release;
        if (release >= here && std::find(added.begin(), added.end(), name) == added.end()) added.push_back(name);
    }
    return added;
}

// A smallest set of rules to drop that opens a way. Of single rules all that open one each; else the first set, and
// `together` is set.
std::vector<std::string> stands_against(const Search& s, std::size_t target, bool& together) {
    std::vector<std::string> out;
    const auto texts = [&](const Found& f, unsigned dropped) {
        std::vector<std::string> of_way;
        for (const auto& [from, release] : f.way) {
            const unsigned looked_at =
                release == target ? dropped & ~bit(Rule::pair_under_way) : dropped & ~at_rest_bit;
            for (auto& t : s.graph.texts(from, release, looked_at)) of_way.push_back(std::move(t));
        }
        return of_way;
    };
    for (std::size_t size = 1; size <= rules && out.empty(); ++size) {
        choose(rules, size, [&](const std::vector<std::size_t>& pick) {
            unsigned dropped = 0;
            for (const std::size_t r : pick) dropped |= 1u << r;
            const auto ways = ways_to(s.graph, target, dropped);
            if (ways.empty()) return false;
            const auto named = texts(ways.front(), dropped);
            if (size == 1) {
                out.push_back(join(named, "; "));
                return false;  // look at the other single rules too
            }
            out = named;
            together = true;
            return true;
        });
    }
    return out;
}

void judge_route(const family::Family& family, const Search& s, const Goal& goal, RouteAnswer& a) {
    const Route& r = *a.recommended;
    a.judgement.add({"route", Verdict::fit, r.why, "route", "package index, family file"});
    std::set<std::string> said;
    for (std::size_t i = 0; i < r.steps.size(); ++i) {
        const auto at = number_of(s.shelf, r.steps[i].release);
        for (const auto& c : change::conditions(family, s.shelf[*at], r.steps[i].before)) {
            if (c.holds != change::Truth::unknown || !said.insert(c.code + c.text).second) continue;
            a.judgement.add({c.code, Verdict::cant_say, c.text, c.field, c.rests_on});
        }
        const bool last = i + 1 == r.steps.size();
        for (const auto& pair : family.pairs) {
            if ((pair.when == "at rest") != last || pair_holds(family, pair, r.steps[i].after)) continue;
            a.judgement.add({"pair-not-known", Verdict::cant_say,
                             fmt::format("pair rule {}: {}: with {} it cannot be told whether it holds", pair.when,
                                         pair.text, r.steps[i].release),
                             r.steps[i].release, "family file"});
        }
        if (!r.steps[i].one_way_door) continue;
        a.judgement.add(
            {goal.consent_one_way ? "one-way-door-agreed" : "consent-needed",
             goal.consent_one_way ? Verdict::mind : Verdict::cant_say,
             goal.consent_one_way
                 ? fmt::format("{} is a one-way door: no return from it, and that was agreed to", r.steps[i].release)
                 : fmt::format("{} is a one-way door: after it there is no return to what is installed now; "
                               "ask for consent first",
                               r.steps[i].release),
             r.steps[i].release, "family file",
             goal.consent_one_way ? Next()
                                  : Next{"ask the owner, then: ", propose(Act::plan, {given("consent", "one-way")})}});
    }
}

void judge_no_route(const Search& s, const std::string& target, RouteAnswer& a) {
    const auto at = number_of(s.shelf, target);
    a.would_open = would_open(s, target);
    if (at) a.against = stands_against(s, *at, a.against_together);
    if (!a.would_open.empty()) {
        a.judgement.add({"no-route-yet", Verdict::halt,
                         fmt::format("no route to {} yet: {} {} missing on the shelf; shelve {}", target,
                                     join(a.would_open, " and "), a.would_open.size() == 1 ? "is" : "are",
                                     a.would_open.size() == 1 ? "it" : "them"),
                         target, "package index, family file"});
        for (auto& name : a.would_open) name = "shelve " + name;
        return;
    }
    if (!at) {
        a.judgement.add({"release-unknown", Verdict::halt,
                         fmt::format("{} is neither on the shelf nor known to the family file", target), target,
                         "shelf"});
        return;
    }
    a.judgement.add({"no-route", Verdict::halt,
                     a.against.empty()
                         ? fmt::format("no route to {}", target)
                         : fmt::format("no route to {}: {}{}", target, join(a.against, "; "),
                                       a.against.size() == 1 ? ""
                                       : a.against_together  ? " (only without all of these would there be one)"
                                                             : " (without any one of these there would be one)"),
                     target, "package index, family file"});
    for (const auto& reason : change::fit(s.family, s.shelf[*at], s.set).reasons) {
        if (reason.verdict != Verdict::fit) a.judgement.add(reason);
    }
}

// The newest release that some way leads to and that is not older than what is installed; else the newest of all.
std::string newest(const Search& s, const std::vector<std::size_t>& order, const std::vector<bool>& can_reach,
                   const Goal& goal, RouteAnswer& a) {
    std::string chosen;
    for (auto it = order.rbegin(); it != order.rend() && chosen.empty(); ++it) {
        const auto& r = s.graph.release(*it);
        const bool older = std::any_of(s.set.begin(), s.set.end(), [&](const auto& box) {
            const auto c = s.graph.order(r.release, box.second.release);
            return c && *c < 0;
        });
        if ((can_reach[*it] && !older) || s.graph.is_at(0, *it)) chosen = r.release;
    }
    if (chosen.empty() && !order.empty()) chosen = s.graph.release(order.back()).release;
    const std::string as_of = goal.shelf_as_of.empty() ? std::string() : " as of " + goal.shelf_as_of;
    if (!chosen.empty() && chosen != s.graph.release(order.back()).release) {
        a.judgement.add(
            {"newer-out-of-reach", Verdict::mind,
             fmt::format("{} is newer, but no route leads to it; {} is the newest known to this shelf{} that can "
                         "be reached",
                         s.graph.release(order.back()).release, chosen, as_of),
             "newest", "shelf"});
    }
    const auto known = chosen.empty() ? std::nullopt : s.graph.order(s.family.newest_release, chosen);
    if (known && *known > 0 && !number_of(s.shelf, s.family.newest_release)) {
        a.judgement.add({"newer-known", Verdict::mind,
                         fmt::format("{} is known to exist (family file, as of {}) but is not on this shelf{}",
                                     s.family.newest_release, s.family.newest_as_of, as_of),
                         "newest", "family file"});
    }
    return chosen;
}

void list_releases(const Search& s, const std::vector<std::size_t>& order, const std::vector<bool>& can_reach,
                   RouteAnswer& a) {
    for (const std::size_t i : order) {
        a.releases.push_back(
            {s.graph.release(i).release, true, change::fit(s.family, s.graph.release(i), s.set), can_reach[i]});
    }
    for (const auto& name : missing(s)) {
        Judged j;
        j.release = name;
        j.on_shelf = false;
        j.fits_now.add({"not-on-shelf", Verdict::cant_say, name + " is known by name only: it is not on this shelf",
                        name, "family file"});
        std::size_t at = a.releases.size();
        while (at > 0) {
            const auto c = s.graph.order(name, a.releases[at - 1].release);
            if (!c || *c >= 0) break;
            --at;
        }
        a.releases.insert(a.releases.begin() + static_cast<std::ptrdiff_t>(at), std::move(j));
    }
}

void say_not_weighed(std::size_t steps, RouteAnswer& a) {
    a.judgement.add(
        {"ways-not-weighed", Verdict::mind,
         fmt::format("the ways there have {} steps to choose from, too many to weigh each: doors and number of "
                     "steps order them, not the time with no way back nor the time in all",
                     steps),
         "route", "model"});
}

}  // namespace

RouteAnswer find_route(const family::Family& family, const std::vector<family::Release>& shelf,
                       const change::SetState& set, const Goal& goal, const StepCost& cost) {
    RouteAnswer a;
    Graph graph(family, shelf, set, cost);
    const Search s{family, shelf, set, graph};
    const auto order = by_age(graph, shelf.size());
    const auto can_reach = reachable(graph);
    list_releases(s, order, can_reach, a);
    const std::string target = goal.release == "newest" ? newest(s, order, can_reach, goal, a) : goal.release;
    if (target.empty()) {
        a.judgement.add({"shelf-empty", Verdict::halt, fmt::format("no release of {} is on the shelf", family.id),
                         "shelf", "shelf",
                         Next{"shelve one first: ",
                              propose(Act::add_to_shelf, {wanted("package", "PATH"), wanted("from", "TEXT")})}});
        return a;
    }
    const auto at = number_of(shelf, target);
    const bool all_there = !set.empty() && std::all_of(set.begin(), set.end(),
                                                       [&](const auto& box) { return box.second.release == target; });
    if (all_there || (at && graph.is_at(0, *at))) {
        a.recommended = Route{};
        a.recommended->why = fmt::format("{} is installed already", target);
        a.judgement.add({"nothing-to-do", Verdict::fit,
                         fmt::format("nothing to do: {} is installed already; what was the complaint?", target), target,
                         "version view"});
        return a;
    }
    if (at) {
        Useful useful;
        if (cost) useful = useful_edges(graph, *at);
        a.weighed = cost && useful.count > 0 && useful.count <= goal.most_weighed;
        if (!a.weighed) graph.weigh_nothing();
        const auto ways =
            ways_to(graph, *at, 0, needed_doors(family, graph, set, shelf[*at]), cost ? &useful : nullptr);
        if (useful.count > goal.most_weighed) say_not_weighed(useful.count, a);
        for (std::size_t i = 0; i < ways.size(); ++i) {
            Route r = route_of(family, graph, ways[i]);
            if (i == 0) {
                a.recommended = std::move(r);
            } else {
                a.others.push_back(std::move(r));
            }
        }
    }
    if (a.recommended) {
        say_why(a);
        judge_route(family, s, goal, a);
    } else {
        judge_no_route(s, target, a);
    }
    return a;
}

}  // namespace fettle::route
