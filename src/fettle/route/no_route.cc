#include "fettle/route/no_route.h"

#include <fmt/format.h>

#include <algorithm>
#include <functional>

#include "fettle/base/text.h"

namespace fettle::route {

std::optional<std::size_t> number_of(const std::vector<family::Release>& shelf, const std::string& release) {
    for (std::size_t i = 0; i < shelf.size(); ++i) {
        if (shelf[i].release == release) return i;
    }
    return std::nullopt;
}

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

namespace {

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
        return StepWeight{on_shelf ? 0.0 : 1.0, 0};
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
            for (auto& t : s.graph.texts(from, release, target, looked_at)) of_way.push_back(std::move(t));
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

}  // namespace

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

}  // namespace fettle::route
