// Ways over random families and shelves.
#include <algorithm>
#include <sstream>

#include "fettle/route/route.h"
#include "test_harness.h"

namespace fettle::metamorphic {
namespace {

struct World {
    family::Family family;
    std::vector<family::Release> shelf;
    change::SetState set;
    std::string target;
    std::uint64_t seconds = 0;  // what each step takes
};

// Versions are compared here by their numbers alone; nullopt: not three numbers, or no order is known.
std::optional<std::vector<long>> numbers(const World& w, const std::string& version) {
    if (w.family.order.rule.empty()) return std::nullopt;
    std::vector<long> out;
    std::istringstream in(version);
    for (std::string part; std::getline(in, part, '.');) {
        if (part.empty() || part.find_first_not_of("0123456789") != std::string::npos) return std::nullopt;
        out.push_back(std::stol(part));
    }
    return out.size() == 3 ? std::optional(out) : std::nullopt;
}
bool older(const World& w, const std::string& a, const std::string& b) {
    const auto x = numbers(w, a), y = numbers(w, b);
    return x && y && *x < *y;
}

bool writes(const family::Release& r, const std::string& role) {
    return std::any_of(r.pieces.begin(), r.pieces.end(), [&](const auto& p) { return p.box == role; });
}
const family::Release* on_shelf(const World& w, const std::string& name) {
    for (const auto& r : w.shelf)
        if (r.release == name) return &r;
    return nullptr;
}

std::string version(Random& random) {
    return fmt::format("{}.{}.{}", 1 + random() % 3, random() % 4, 10 + random() % 30);
}

family::Release release(Random& random, const World& w, const std::string& name,
                        const std::vector<std::string>& names) {
    family::Release r;
    r.family = w.family.id;
    r.release = name;
    if (!one_in(random, 8)) r.markets = {one_in(random, 10) ? "MD" : "NS"};
    if (one_in(random, 3)) r.installs_from = any_of_these(random, names);
    const auto said = std::find_if(w.family.known.begin(), w.family.known.end(),
                                   [&](const auto& k) { return k.release == name && k.counter; });
    if (said != w.family.known.end() && one_in(random, 2)) r.counter = said->counter;
    if (said == w.family.known.end() && one_in(random, 2)) r.counter = static_cast<std::int64_t>(random() % 3);
    r.one_way_door = one_in(random, 10);
    for (const auto& b : w.family.boxes) {
        if (one_in(random, 8) && (b.role != w.family.boxes.back().role || !r.pieces.empty())) continue;
        family::Piece p{"software", b.role, "system", name, {}, {}};
        if (one_in(random, 10)) p.issues = {"C", "D"};
        r.pieces.push_back(p);
    }
    return r;
}

// A newer release never leaves a lower counter: it rises at one or two releases.
std::function<std::int64_t(const std::string&)> counters(Random& random) {
    World by_numbers;
    by_numbers.family.order.rule = "numeric";
    std::vector<std::string> rises{version(random)};
    if (one_in(random, 2)) rises.push_back(version(random));
    return [=](const std::string& of) {
        return std::count_if(rises.begin(), rises.end(), [&](const auto& r) { return !older(by_numbers, of, r); });
    };
}

World world(Random& random) {
    World w;
    w.family.id = "any";
    const auto counter = counters(random);
    const unsigned boxes = 1 + random() % 3;
    for (const char* role : {"main", "display", "tuner"}) {
        if (w.family.boxes.size() < boxes) {
            w.family.boxes.emplace_back();
            w.family.boxes.back().role = role;
        }
    }
    if (!one_in(random, 10)) w.family.order = {"numeric", {}, {"line", "step", "build"}};
    w.family.refuses_older = one_in(random, 5);
    if (!one_in(random, 6)) {
        w.family.package.emplace();
        w.family.package->release_fields["markets"] = "/markets";
    }
    std::vector<std::string> names;
    for (unsigned n = 3 + random() % 5; n > 0; --n) names.push_back(one_in(random, 25) ? "spring" : version(random));
    for (const auto& n : names) {
        if (one_in(random, 3)) continue;
        if (w.family.known_release(n) != nullptr) continue;
        family::KnownRelease k;
        k.release = n;
        k.stepping_stone = one_in(random, 6);
        k.one_way_door = one_in(random, 4);
        if (!one_in(random, 3)) k.counter = counter(n);
        w.family.known.push_back(k);
    }
    for (const auto& n : names)
        if (!one_in(random, 6) && on_shelf(w, n) == nullptr) w.shelf.push_back(release(random, w, n, names));
    for (auto& r : w.shelf)
        if (r.counter) r.counter = counter(r.release);
    if (boxes > 1 && one_in(random, 3))
        w.family.pairs.push_back({one_in(random, 2) ? "display.line == main.line" : "display.step <= main.step",
                                  one_in(random, 2) ? "at rest" : "under way"});
    const std::string at = one_in(random, 6) ? version(random) : any_of_these(random, names);
    for (const auto& b : w.family.boxes) {
        change::BoxState box;
        box.release = one_in(random, 12) ? "" : one_in(random, 6) ? any_of_these(random, names) : at;
        box.issue = one_in(random, 8) ? "" : "C";
        box.market = one_in(random, 12) ? "" : "NS";
        w.set[b.role] = box;
    }
    w.target = one_in(random, 4) ? "newest" : any_of_these(random, names);
    w.seconds = random();
    return w;
}

// What a step takes depends on where from and where to alone; often two ways differ by less than can be forecast.
route::StepCost cost_of(const World& w) {
    return [&w](const family::Release& r, const change::SetState& before) -> route::StepWeight {
        std::string text = r.release;
        for (const auto& [role, box] : before) text += " " + box.release;
        const std::uint64_t h = std::hash<std::string>()(text) ^ w.seconds;
        const double zone_s = h % 3 == 0 ? 0 : 40 + static_cast<double>(h / 3 % 20) / 10;
        return {zone_s, 900 + static_cast<double>(h / 60 % 30), h / 1800 % 12 == 0 ? 1 : 0};
    };
}

route::RouteAnswer ask(const World& w) {
    return route::find_route(w.family, w.shelf, w.set, {w.target, true, "", 100000}, cost_of(w));
}

std::string way(const route::RouteAnswer& a) {
    if (!a.recommended) return "no way";
    std::string out = "way";
    for (const auto& s : a.recommended->steps) out += " " + s.release;
    return out;
}

// The target's name, also of "newest".
std::string to(const World& w, const route::RouteAnswer& a) {
    if (a.recommended && !a.recommended->steps.empty()) return a.recommended->steps.back().release;
    return w.target == "newest" ? "" : w.target;
}

bool newer_than_some_box(const World& w, const change::SetState& set, const family::Release& r, bool below) {
    return std::any_of(set.begin(), set.end(), [&](const auto& b) {
        return writes(r, b.first) &&
               (below ? older(w, r.release, b.second.release) : older(w, b.second.release, r.release));
    });
}
bool goes_back(const World& w, const change::SetState& set, const family::Release& r) {
    return newer_than_some_box(w, set, r, true);
}

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

std::vector<World> smaller(const World& w) {
    std::vector<World> out;
    const auto each = [&](std::size_t n, const auto& change) {
        for (std::size_t i = 0; i < n; ++i) {
            World s = w;
            if (change(s, i)) out.push_back(std::move(s));
        }
    };
    const auto at = [](std::size_t i) { return static_cast<std::ptrdiff_t>(i); };
    each(w.shelf.size(), [&](World& s, std::size_t i) { return s.shelf.erase(s.shelf.begin() + at(i)), true; });
    each(w.family.known.size(),
         [&](World& s, std::size_t i) { return s.family.known.erase(s.family.known.begin() + at(i)), true; });
    each(w.family.pairs.size(),
         [&](World& s, std::size_t i) { return s.family.pairs.erase(s.family.pairs.begin() + at(i)), true; });
    each(w.family.known.size(),
         [&](World& s, std::size_t i) { return std::exchange(s.family.known[i].stepping_stone, false); });
    each(w.family.known.size(),
         [&](World& s, std::size_t i) { return std::exchange(s.family.known[i].one_way_door, false); });
    each(w.shelf.size(), [&](World& s, std::size_t i) { return std::exchange(s.shelf[i].one_way_door, false); });
    each(w.shelf.size(), [&](World& s, std::size_t i) { return !std::exchange(s.shelf[i].installs_from, "").empty(); });
    each(w.shelf.size(), [&](World& s, std::size_t i) {
        bool any = false;
        for (auto& p : s.shelf[i].pieces) any = !std::exchange(p.issues, {}).empty() || any;
        return any;
    });
    if (w.family.boxes.size() > 1) {
        World s = w;
        const std::string role = s.family.boxes.back().role;
        s.family.boxes.pop_back();
        s.set.erase(role);
        for (auto& r : s.shelf) std::erase_if(r.pieces, [&](const auto& p) { return p.box == role; });
        out.push_back(std::move(s));
    }
    if (w.family.refuses_older) {
        World s = w;
        s.family.refuses_older = false;
        out.push_back(std::move(s));
    }
    return out;
}

std::string show(const World& w) {
    std::string out = fmt::format(
        "  order of versions {}{}{}\n", w.family.order.rule.empty() ? "not known" : "by numbers",
        w.family.refuses_older ? "; takes nothing older" : "", w.family.package ? "; tells markets apart" : "");
    const auto count = [](const std::optional<std::int64_t>& n) { return n ? std::to_string(*n) : std::string("?"); };
    for (const auto& [role, box] : w.set)
        out +=
            fmt::format("  {} box at \"{}\", issue \"{}\", market \"{}\"\n", role, box.release, box.issue, box.market);
    for (const auto& k : w.family.known)
        out += fmt::format("  known: {}, counter {}{}{}\n", k.release, count(k.counter),
                           k.stepping_stone ? ", needed in between" : "", k.one_way_door ? ", no way back" : "");
    for (const auto& p : w.family.pairs) out += fmt::format("  pair {}: {}\n", p.when, p.text);
    for (const auto& r : w.shelf) {
        out += fmt::format("  on the shelf: {}, counter {}, markets", r.release, count(r.counter));
        for (const auto& m : r.markets) out += " " + m;
        if (!r.installs_from.empty()) out += ", installs from " + r.installs_from;
        if (r.one_way_door) out += ", no way back";
        for (const auto& p : r.pieces) out += ", writes " + p.box + (p.issues.empty() ? "" : " (issues C, D)");
        out += "\n";
    }
    const auto a = ask(w);
    out += fmt::format("  to {}: {}, {}\n", w.target, way(a), words(a.judgement.verdict()));
    for (const auto& r : a.judgement.reasons) out += fmt::format("    {} {}: {}\n", words(r.verdict), r.code, r.text);
    return out;
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
                      {"up never goes down, and back never up", up_never_goes_down},
                      {"what the forecast cannot tell apart decides nothing", noise_does_not_decide},
                      {"newest is its own name", newest_is_asked_by_name},
                      {"boxes that take nothing older open no way", refusing_older_opens_nothing}}},
        400);
}

}  // namespace
}  // namespace fettle::metamorphic
