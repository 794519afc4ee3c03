// Random families and shelves, and the question asked of them: what the relations of ways.cc are over.
#pragma once

#include <algorithm>
#include <optional>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "fettle/route/route.h"
#include "test_harness.h"

namespace fettle::metamorphic::ways {

struct World {
    family::Family family;
    std::vector<family::Release> shelf;
    change::SetState set;
    std::string target;
    std::uint64_t seconds = 0;  // what each step takes
};

// Versions are compared here by their numbers alone; nullopt: not three numbers, or no order is known.
inline std::optional<std::vector<long>> numbers(const World& w, const std::string& version) {
    if (w.family.order.rule.empty()) return std::nullopt;
    std::vector<long> out;
    std::istringstream in(version);
    for (std::string part; std::getline(in, part, '.');) {
        if (part.empty() || part.find_first_not_of("0123456789") != std::string::npos) return std::nullopt;
        out.push_back(std::stol(part));
    }
    return out.size() == 3 ? std::optional(out) : std::nullopt;
}
inline bool older(const World& w, const std::string& a, const std::string& b) {
    const auto x = numbers(w, a), y = numbers(w, b);
    return x && y && *x < *y;
}

inline bool writes(const family::Release& r, const std::string& role) {
    return std::any_of(r.pieces.begin(), r.pieces.end(), [&](const auto& p) { return p.box == role; });
}
inline const family::Release* on_shelf(const World& w, const std::string& name) {
    for (const auto& r : w.shelf)
        if (r.release == name) return &r;
    return nullptr;
}

inline std::string version(Random& random) {
    return fmt::format("{}.{}.{}", 1 + random() % 3, random() % 4, 10 + random() % 30);
}

inline family::Release release(Random& random, const World& w, const std::string& name,
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
inline std::function<std::int64_t(const std::string&)> counters(Random& random) {
    World by_numbers;
    by_numbers.family.order.rule = "numeric";
    std::vector<std::string> rises{version(random)};
    if (one_in(random, 2)) rises.push_back(version(random));
    return [=](const std::string& of) {
        return std::count_if(rises.begin(), rises.end(), [&](const auto& r) { return !older(by_numbers, of, r); });
    };
}

inline World world(Random& random) {
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
inline route::StepCost cost_of(const World& w) {
    return [&w](const family::Release& r, const change::SetState& before) -> route::StepWeight {
        std::string text = r.release;
        for (const auto& [role, box] : before) text += " " + box.release;
        const std::uint64_t h = std::hash<std::string>()(text) ^ w.seconds;
        const double zone_s = h % 3 == 0 ? 0 : 40 + static_cast<double>(h / 3 % 20) / 10;
        // What is in doubt of a step is so wherever it is taken from: knowing less of a box must not settle it.
        const bool doubt = (std::hash<std::string>()(r.release) ^ w.seconds) % 12 == 0;
        return {zone_s, 900 + static_cast<double>(h / 60 % 30), doubt ? 1 : 0};
    };
}

// As a plan tells it: what is not known of a step itself is part of its verdict.
inline route::RouteAnswer ask(const World& w) {
    route::RouteAnswer a = route::find_route(w.family, w.shelf, w.set, {w.target, true, "", 100000}, cost_of(w));
    if (a.recommended && a.recommended->doubt > 0)
        a.judgement.add({"step-in-doubt", Verdict::cant_say, "something of a step is not known", "", "invented"});
    return a;
}

inline std::string way(const route::RouteAnswer& a) {
    if (!a.recommended) return "no way";
    std::string out = "way";
    for (const auto& s : a.recommended->steps) out += " " + s.release;
    return out;
}

// The target's name, also of "newest".
inline std::string to(const World& w, const route::RouteAnswer& a) {
    if (a.recommended && !a.recommended->steps.empty()) return a.recommended->steps.back().release;
    return w.target == "newest" ? "" : w.target;
}

inline bool newer_than_some_box(const World& w, const change::SetState& set, const family::Release& r, bool below) {
    return std::any_of(set.begin(), set.end(), [&](const auto& b) {
        return writes(r, b.first) &&
               (below ? older(w, r.release, b.second.release) : older(w, b.second.release, r.release));
    });
}
inline bool goes_back(const World& w, const change::SetState& set, const family::Release& r) {
    return newer_than_some_box(w, set, r, true);
}

inline std::vector<World> smaller(const World& w) {
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

inline std::string show(const World& w) {
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
    for (const auto& o : a.others)
        out += fmt::format(
            "    or by{}, {} doubtful, {} without return, {:.0f} s in zones, {:.0f} s\n",
            [&] {
                std::string names;
                for (const auto& s : o.steps) names += " " + s.release;
                return names;
            }(),
            o.doubt, o.irreversible, o.no_way_back_p90_s, o.p90_s);
    for (const auto& r : a.judgement.reasons) out += fmt::format("    {} {}: {}\n", words(r.verdict), r.code, r.text);
    return out;
}

}  // namespace fettle::metamorphic::ways
