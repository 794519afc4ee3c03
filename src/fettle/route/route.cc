// The answer: the recommended route and why, the ones that it does not beat, every release judged; and when there is no
// way, what stands against it and what would open one.
#include "fettle/route/route.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "fettle/base/clock.h"
#include "fettle/base/text.h"
#include "fettle/route/graph.h"
#include "fettle/route/no_route.h"

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
        return c != 0 ? c < 0 : g.release(a).release < g.release(b).release;
    });
    for (std::size_t i = 0; i < n; ++i) {
        if (!compared(i, i)) order.push_back(i);
    }
    std::sort(order.begin(), order.end(),
              [&](std::size_t a, std::size_t b) { return g.release(a).release < g.release(b).release; });
    order.insert(order.begin(), placed.begin(), placed.end());
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
    return out;
}

Route route_of(const family::Family& family, Graph& g, const Found& f) {
    Route r;
    r.doubt = f.doubt;
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

// Beyond what the forecast can tell apart.
bool clearly_less(double a, double b) {
    return a + noise_of(std::min(a, b)) < b;
}

// Of the ways, best first by exact counts, the one to recommend: among those that neither doubt nor doors nor clearly
// more seconds tell apart, the one with the fewest steps.
std::size_t best_of(const std::vector<Found>& ways) {
    std::vector<std::size_t> left;
    for (std::size_t i = 0; i < ways.size(); ++i) {
        if (ways[i].doubt == ways.front().doubt && ways[i].irreversible == ways.front().irreversible) left.push_back(i);
    }
    for (double Found::* seconds : {&Found::zone_s, &Found::time_s}) {
        double least = ways[left.front()].*seconds;
        for (const std::size_t i : left) least = std::min(least, ways[i].*seconds);
        std::erase_if(left, [&](std::size_t i) { return clearly_less(least, ways[i].*seconds); });
    }
    return *std::min_element(left.begin(), left.end(), [&](std::size_t a, std::size_t b) {
        return ways[a].way.size() < ways[b].way.size();  // of as many the first, by exact counts
    });
}

bool does_better(const Found& o, const Found& best) {
    return o.doubt < best.doubt || o.irreversible < best.irreversible || clearly_less(o.zone_s, best.zone_s) ||
           clearly_less(o.time_s, best.time_s) || o.way.size() < best.way.size();
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
        const char* count = best.doubt < o.doubt                 ? "more is known of it"
                            : best.irreversible < o.irreversible ? "it has fewer steps without return"
                            : clearly_less(best.no_way_back_p90_s, o.no_way_back_p90_s)
                                ? "it is shorter in zones with no way back"
                            : clearly_less(best.p90_s, o.p90_s) ? "it is quicker"
                                                                : "it has fewer steps";
        why += fmt::format("; chosen before {} because {}", names_of(o), count);
    }
    best.why = why;
}

// A step that puts a box back, or that may.
void judge_direction(const Search& s, std::size_t number, const std::string& release, const change::SetState& before,
                     Judgement& judgement) {
    std::set<std::string> said;
    for (const auto& [role, box] : before) {
        const auto of_box = [&, &r = role](const family::Piece& p) { return p.box == r; };
        const auto& pieces = s.graph.release(number).pieces;
        if (box.release == release || std::none_of(pieces.begin(), pieces.end(), of_box)) continue;
        const auto order = s.graph.order(release, box.release);
        if ((order && *order >= 0) || !said.insert(box.release).second) continue;
        judgement.add({order ? "goes-back" : "direction-not-known", order ? Verdict::mind : Verdict::cant_say,
                       order ? fmt::format("{} is older than the {} that the {} box has: the way goes back", release,
                                           box.release, role)
                             : fmt::format("whether {} is older or newer than what the {} box has ({}) is not known",
                                           release, role, box.release.empty() ? "not known" : box.release),
                       release, "family file"});
    }
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
        judge_direction(s, *at, r.steps[i].release, r.steps[i].before, a.judgement);
        if (!r.steps[i].one_way_door) continue;
        const bool agreed = goal.consent.covers(r.steps[i].release);
        a.judgement.add(
            {agreed ? "one-way-door-agreed" : "consent-needed", agreed ? Verdict::mind : Verdict::cant_say,
             agreed ? fmt::format("{} is a one-way door: no return from it, and that was agreed to", r.steps[i].release)
                    : fmt::format("{} is a one-way door: after it there is no return to what is installed now; "
                                  "ask for consent first",
                                  r.steps[i].release),
             r.steps[i].release, "family file",
             agreed ? Next() : Next{"ask the owner, then: ", propose(Act::plan, {given("consent", "one-way")})}});
    }
}

// The newest release that some way leads to and that is not older than what is installed; else the newest that is not
// older, to say why no way leads there. Empty: every release is older, or none is there; never one to go down to.
std::string newest(const Search& s, const std::vector<std::size_t>& order, const std::vector<bool>& can_reach,
                   const Goal& goal, RouteAnswer& a) {
    std::string chosen, not_older;
    for (auto it = order.rbegin(); it != order.rend() && chosen.empty(); ++it) {
        const auto& r = s.graph.release(*it);
        const bool older = s.graph.facts().is_back(*it);
        if (!older && not_older.empty()) not_older = r.release;
        if ((can_reach[*it] && !older) || s.graph.is_at(0, *it)) chosen = r.release;
    }
    if (chosen.empty()) chosen = not_older;
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

void say_newer_than_shelf(const Search& s, const std::vector<std::size_t>& order, RouteAnswer& a) {
    std::string shown;  // the newest that a box has
    for (const auto& [role, box] : s.set) {
        const auto c = s.graph.order(box.release, shown);
        if (shown.empty() || (c && *c > 0)) shown = box.release;
    }
    a.judgement.add({"box-newer-than-shelf", Verdict::halt,
                     fmt::format("{} is installed, which is newer than every release on this shelf; the newest here is "
                                 "{}. Nothing goes down to it unasked: was the release read rightly, or is a newer one "
                                 "to be shelved?",
                                 shown, s.graph.release(order.back()).release),
                     "newest", "version view"});
}

void list_releases(const Search& s, const std::vector<std::size_t>& order, const std::vector<bool>& can_reach,
                   RouteAnswer& a) {
    for (const std::size_t i : order) {
        Judged j{s.graph.release(i).release, true, change::fit(s.family, s.graph.release(i), s.set), can_reach[i]};
        judge_direction(s, i, j.release, s.set, j.fits_now);
        a.releases.push_back(std::move(j));
    }
    std::vector<std::string> by_name = missing(s);
    for (const auto& [role, box] : s.set) {
        const bool listed =
            number_of(s.shelf, box.release) || std::find(by_name.begin(), by_name.end(), box.release) != by_name.end();
        if (!box.release.empty() && !listed) by_name.push_back(box.release);
    }
    for (const auto& name : by_name) {
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

change::SetState with_counters(const family::Family& family, const std::vector<family::Release>& shelf,
                               const change::SetState& set) {
    change::SetState out = set;
    for (auto& [role, box] : out) {
        // Another family may number a release alike: what its index says is not of this box.
        const auto at = std::find_if(shelf.begin(), shelf.end(), [&, &b = box](const family::Release& r) {
            return r.release == b.release && change::is_of(family, r);
        });
        if (box.counter || at == shelf.end() || !at->counter) continue;
        const change::Counter left = change::counter_left(family, *at);  // the family file's may differ
        if (left.known()) {
            box.counter = left.low;
        } else {
            box.counter_at_least = left.high;
        }
    }
    return out;
}

RouteAnswer find_route(const family::Family& by_file, const std::vector<family::Release>& shelf,
                       const change::SetState& as_told, const Goal& goal, const StepCost& cost) {
    RouteAnswer a;
    const family::Family family = change::with_doors(by_file, shelf, as_told);
    const change::SetState set = with_counters(family, shelf, as_told);
    Graph graph(family, shelf, set, cost);
    const Search s{family, shelf, set, graph};
    const auto order = by_age(graph, shelf.size());
    const auto can_reach = reachable(graph);
    list_releases(s, order, can_reach, a);
    const std::string target = goal.release == "newest" ? newest(s, order, can_reach, goal, a) : goal.release;
    if (target.empty() && !shelf.empty()) {
        say_newer_than_shelf(s, order, a);
        return a;
    }
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
        if (!ways.empty()) {
            const std::size_t best = best_of(ways);
            a.recommended = route_of(family, graph, ways[best]);
            for (std::size_t i = 0; i < ways.size(); ++i) {
                if (i != best && does_better(ways[i], ways[best])) a.others.push_back(route_of(family, graph, ways[i]));
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
