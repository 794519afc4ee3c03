// Ways over random families and shelves.
#include <algorithm>
#include <sstream>

#include "test_ways_world.h"

namespace fettle::metamorphic {
namespace {

using namespace ways;

Outcome same(const World& w, const World& other, const std::string& what) {
    const auto a = ask(w), b = ask(other);
    if (way(a) == way(b) && a.judgement.verdict() == b.judgement.verdict()) return {};
    return {true, fmt::format("{}: {} ({}) becomes {} ({})", what, way(a), words(a.judgement.verdict()), way(b),
                              words(b.judgement.verdict()))};
}

Outcome any_order(const World& w, Random& random) {
    World other = w;
    std::shuffle(other.shelf.begin(), other.shelf.end(), random);
    std::shuffle(other.family.known.begin(), other.family.known.end(), random);
    for (auto& r : other.shelf) std::shuffle(r.pieces.begin(), r.pieces.end(), random);
    return same(w, other, "another order of shelf, family file and indexes");
}

Outcome other_spelling(const World& w, Random&) {
    if (w.family.pairs.empty()) return not_asked;
    World other = w;
    for (auto& p : other.family.pairs) {
        std::istringstream in(p.text);
        std::string left, op, right;
        in >> left >> op >> right;
        op = op == "<=" ? ">=" : op == ">=" ? "<=" : op;
        p.text = right + "  " + op + " " + left;
    }
    return same(w, other, "the pair rules written the other way round");
}

// Of another family, of another market, below what every box has on a way up, above the target on any way.
Outcome irrelevant(const World& w, Random& random) {
    if (w.target == "newest" || on_shelf(w, w.target) == nullptr) return not_asked;
    World other = w;
    family::Release more = release(random, w, version(random), {w.target});
    more.installs_from.clear();
    const bool all_markets_known =
        std::all_of(w.set.begin(), w.set.end(), [](const auto& b) { return !b.second.market.empty(); });
    switch (random() % 3) {
        case 0: more.family = "another"; break;
        case 1:
            if (!all_markets_known) return not_asked;
            more.markets = {"OV"};
            break;
        default:
            more.release = fmt::format("{}.0.1", one_in(random, 2) ? 0 : 9);
            if (!older(w, "0.0.0", w.target)) return not_asked;
            for (const auto& [role, box] : w.set)
                if (!older(w, "0.0.0", box.release)) return not_asked;
            more.one_way_door = false;
    }
    if (on_shelf(w, more.release) != nullptr || more.pieces.empty()) return not_asked;
    for (const auto& b : w.family.boxes)  // else the addition itself changes what the boxes can be brought to
        if (!writes(more, b.role)) return not_asked;
    other.shelf.push_back(more);
    const auto a = ask(w), b = ask(other);
    // Where there is no way, the rules that stand against one are counted over all releases.
    if (!a.recommended && !b.recommended && !may_start(b.judgement.verdict())) return {};
    if (way(a) == way(b) && a.judgement.reasons == b.judgement.reasons) return {};
    return {true, fmt::format("{} of {} on the shelf besides: {} becomes {}", more.release,
                              more.family == "another" ? "another family"
                              : more.markets.empty()   ? "no market"
                                                       : more.markets[0],
                              way(a), way(b))};
}

Outcome less_on_the_shelf(const World& w, Random& random) {
    if (w.shelf.size() < 2) return not_asked;
    const auto before = ask(w);
    World other = w;
    const auto at = other.shelf.begin() + static_cast<std::ptrdiff_t>(random() % other.shelf.size());
    const std::string name = at->release;
    if (name == to(w, before) || (w.target == "newest" && !before.recommended)) return not_asked;
    if (at->one_way_door) return not_asked;  // nobody else may know that door
    other.shelf.erase(at);
    const auto after = ask(other);
    if (w.target == "newest" && to(other, after) != to(w, before)) return not_asked;  // another question
    return never_opens(before.judgement.verdict(), after.judgement.verdict(), "taking " + name + " off the shelf");
}

Outcome less_known(const World& w, Random& random) {
    World other = w;
    std::string what;
    auto box = other.set.begin();
    std::advance(box, static_cast<std::ptrdiff_t>(random() % other.set.size()));
    switch (random() % 7) {
        case 0:
            if (other.family.known.empty()) return not_asked;
            {
                auto& k = other.family.known[random() % other.family.known.size()];
                k.counter.reset();
                what = "the family file's counter of " + k.release;
            }
            break;
        case 1:
            if (other.shelf.empty()) return not_asked;
            {
                auto& r = other.shelf[random() % other.shelf.size()];
                r.counter.reset();
                what = "the index's counter of " + r.release;
            }
            break;
        case 2:
            other.family.order = {};
            what = "the order of versions";
            break;
        case 3:
            what = "the release of the " + box->first + " box";
            box->second.release.clear();
            break;
        case 4:
            what = "the market of the " + box->first + " box";
            box->second.market.clear();
            break;
        case 5:
            what = "the issue letter of the " + box->first + " box";
            box->second.issue.clear();
            break;
        default:
            if (other.shelf.empty() || !other.family.package) return not_asked;
            {
                auto& r = other.shelf[random() % other.shelf.size()];
                r.markets.clear();
                what = "the markets of " + r.release;
            }
    }
    const auto before = ask(w), after = ask(other);
    if (w.target == "newest" && to(other, after) != to(w, before)) return not_asked;
    return never_opens(before.judgement.verdict(), after.judgement.verdict(), "not knowing " + what);
}

Outcome counters_that_differ(const World& w, Random& random) {
    World other = w;
    std::vector<family::Release*> both;
    for (auto& r : other.shelf) {
        const auto* known = other.family.known_release(r.release);
        if (known != nullptr && known->counter) both.push_back(&r);
    }
    if (both.empty() || w.target == "newest") return not_asked;
    auto& r = *any_of_these(random, both);
    const auto was = *other.family.known_release(r.release)->counter;
    r.counter.reset();
    const auto before = ask(other);
    r.counter = was == 0 || one_in(random, 2) ? was + 1 : was - 1;
    return never_betters(
        before.judgement.verdict(), ask(other).judgement.verdict(),
        fmt::format("an index of {} that says {} where the family file says {}", r.release, *r.counter, was));
}

Outcome lower_is_never_fit(const World& w, Random&) {
    const auto a = ask(w);
    const auto* target = on_shelf(w, to(w, a));
    if (target == nullptr || !goes_back(w, w.set, *target)) return not_asked;
    if (a.judgement.verdict() == Verdict::fit) return {true, "going back is fit"};
    if (!may_start(a.judgement.verdict())) return {};
    if (w.target == "newest") return {true, "newest goes down"};
    if (w.family.refuses_older) return {true, "the boxes take nothing older, and going back is a caution"};
    const auto* by_file = w.family.known_release(target->release);
    if (!target->counter && (by_file == nullptr || !by_file->counter))
        return {true, "nobody knows the counter of " + target->release};
    for (const auto& [role, box] : w.set) {
        const auto* here = w.family.known_release(box.release);
        const auto* index = on_shelf(w, box.release);
        const bool known = (here != nullptr && here->counter) || (index != nullptr && index->counter);
        if (writes(*target, role) && older(w, target->release, box.release) && !known)
            return {true, "nobody knows the counter of the " + role + " box at " + box.release};
    }
    return {};
}

// Whatever was installed on the way, in order: no counter that was passed is forgotten.
Outcome no_counter_is_forgotten(const World& w, Random&) {
    const auto a = ask(w);
    if (!a.recommended || a.recommended->steps.empty()) return not_asked;
    bool asked = false;
    for (const auto& [role, box] : w.set) {
        const auto figure = [&](const std::string& name) -> std::optional<std::int64_t> {
            const auto* known = w.family.known_release(name);
            const auto* here = on_shelf(w, name);
            if (known != nullptr && known->counter) return known->counter;
            return here != nullptr ? here->counter : std::nullopt;
        };
        std::optional<std::int64_t> most = w.family.known_release(box.release) ? figure(box.release) : std::nullopt;
        for (const auto& s : a.recommended->steps) {
            if (!writes(*on_shelf(w, s.release), role)) continue;
            const auto has = figure(s.release);
            asked = asked || (has && most);
            if (has && most && *has < *most)
                return {true, fmt::format("{} leaves {} in the {} box, which had {}", s.release, *has, role, *most)};
            if (has) most = std::max(most.value_or(*has), *has);
        }
    }
    return {asked, {}};
}

Outcome up_never_goes_down(const World& w, Random&) {
    const auto a = ask(w);
    if (!a.recommended || a.recommended->steps.empty()) return not_asked;
    const auto* target = on_shelf(w, a.recommended->steps.back().release);
    const bool back = goes_back(w, w.set, *target);
    for (const auto& s : a.recommended->steps) {
        const auto* r = on_shelf(w, s.release);
        if (!back && goes_back(w, s.before, *r)) return {true, s.release + " goes down on the way up"};
        if (!back) continue;
        for (const auto& [role, box] : s.before) {
            if (!writes(*r, role)) continue;
            if (older(w, box.release, r->release) && older(w, target->release, r->release))
                return {true, s.release + " goes up on the way back"};
            if (older(w, r->release, box.release) && older(w, r->release, target->release))
                return {true, s.release + " goes down past the target"};
        }
    }
    return {};
}

Outcome noise_does_not_decide(const World& w, Random&) {
    if (w.target == "newest") return not_asked;
    const auto before = ask(w);
    if (!before.recommended || before.others.empty()) return not_asked;
    const auto& best = *before.recommended;
    for (const auto& o : before.others) {
        const bool near = std::abs(o.no_way_back_p90_s - best.no_way_back_p90_s) < 0.5 &&
                          std::abs(o.p90_s - best.p90_s) < 0.5 && o.irreversible == best.irreversible &&
                          o.doubt == best.doubt;
        if (near && o.steps.size() < best.steps.size())
            return {true, "half a second decided for " + way(before) + " against fewer steps"};
    }
    return {};
}

Outcome newest_is_asked_by_name(const World& w, Random&) {
    World named = w;
    named.target = "newest";
    const auto a = ask(named);
    if (!a.recommended || a.recommended->steps.empty()) return not_asked;
    named.target = to(named, a);
    const auto b = ask(named);
    if (way(a) == way(b)) return {};
    return {true, "newest: " + way(a) + "; by its name: " + way(b)};
}

Outcome refusing_older_opens_nothing(const World& w, Random&) {
    World other = w;
    other.family.refuses_older = true;
    return never_opens(ask(w).judgement.verdict(), ask(other).judgement.verdict(), "boxes that take nothing older");
}

// A door that an index names, and the family file besides: one door, wherever it is told.
Outcome a_door_is_a_door(const World& w, Random&) {
    World other = w;
    bool any = false;
    for (const auto& r : w.shelf) {
        if (!r.one_way_door || other.family.known_release(r.release) != nullptr) continue;
        for (const auto& [role, box] : w.set)
            if (!box.market.empty() && !r.markets.empty() && r.markets[0] != box.market) return not_asked;
        other.family.known.push_back({r.release, r.counter, false, true, {}});
        any = true;
    }
    return any ? same(w, other, "a door that the family file tells too") : not_asked;
}

Outcome nothing_goes_back_by_a_door(const World& w, Random&) {
    const auto a = ask(w);
    const auto* target = on_shelf(w, to(w, a));
    if (target == nullptr || !may_start(a.judgement.verdict())) return not_asked;
    bool asked = false;
    for (const auto& door : w.shelf) {
        if (!door.one_way_door || door.counter || w.family.known_release(door.release) != nullptr) continue;
        if (!older(w, target->release, door.release)) continue;
        asked = true;
        for (const auto& [role, box] : w.set)
            if (writes(*target, role) && box.release != door.release && older(w, door.release, box.release) &&
                (door.markets.empty() || door.markets[0] == box.market))
                return {true, fmt::format("{} goes back past the door {}", target->release, door.release)};
    }
    return {asked, {}};
}

TEST(Metamorphic, Ways) {
    run(Suite<World>{"ways",
                     world,
                     smaller,
                     show,
                     {{"another order of what is there gives the same way", any_order},
                      {"a pair rule written the other way round is the same rule", other_spelling},
                      {"a release that lies on no way changes nothing", irrelevant},
                      {"a release less never turns can't say or halt into a start", less_on_the_shelf},
                      {"a fact less never turns can't say or halt into a start", less_known},
                      {"index and family file that differ never better a verdict", counters_that_differ},
                      {"what is lower is never fit, and needs its counters known", lower_is_never_fit},
                      {"no counter is forgotten on the way", no_counter_is_forgotten},
                      {"a door that an index tells is one that the family file tells", a_door_is_a_door},
                      {"nothing goes back by a door that only an index tells", nothing_goes_back_by_a_door},
                      {"up never goes down, and back never up", up_never_goes_down},
                      {"what the forecast cannot tell apart decides nothing", noise_does_not_decide},
                      {"newest is its own name", newest_is_asked_by_name},
                      {"boxes that take nothing older open no way", refusing_older_opens_nothing}}},
        400);
}

}  // namespace
}  // namespace fettle::metamorphic
