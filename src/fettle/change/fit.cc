// Fit: every condition that a release sets, held against the set as it stands. Three-valued, because a missing fact
// must hold up exactly the decisions that need it and no other.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/change/change.h"
#include "fettle/change/counters.h"

namespace fettle::change {
namespace {

std::string or_unknown(const std::string& s) {
    return s.empty() ? "not known" : s;
}

// Roles of the boxes that the release has pieces for, in the family's order, then any that the family does not know.
std::vector<std::string> roles_of(const family::Family& family, const family::Release& release) {
    std::vector<std::string> named;  // few, for many pieces
    for (const auto& p : release.pieces) {
        if (std::find(named.begin(), named.end(), p.box) == named.end()) named.push_back(p.box);
    }
    std::vector<std::string> roles;
    for (const auto& b : family.boxes) {
        if (std::erase(named, b.role) != 0) roles.push_back(b.role);
    }
    std::sort(named.begin(), named.end());
    roles.insert(roles.end(), named.begin(), named.end());
    return roles;
}

void check_family(const family::Family& family, const family::Release& r, std::vector<Condition>& out) {
    const bool same = r.family.empty() || r.family == family.id;
    out.push_back({"family", "family", "family", family.id, or_unknown(r.family), same ? Truth::yes : Truth::no,
                   fmt::format("{} is a release for {}, this set is a {}", r.release, r.family, family.id),
                   "package index"});
}

void check_boxes(const family::Family& family, const family::Release& r, const SetState& set,
                 std::vector<Condition>& out) {
    for (const auto& role : roles_of(family, r)) {
        const bool known = family.box(role) != nullptr;
        const bool there = set.count(role) != 0;
        Condition c{"boxes",
                    "box-missing",
                    role,
                    there ? "there" : "not there",
                    "there",
                    there ? Truth::yes : Truth::no,
                    fmt::format("{} also writes the {} box, which is not part of this set", r.release, role),
                    "package index"};
        if (!known) {
            c.code = "box-unknown";
            c.found = "not in the family file";
            c.holds = Truth::no;
            c.text = fmt::format("{} writes a box \"{}\" that the family file does not know", r.release, role);
        }
        out.push_back(std::move(c));
    }
}

// A family whose index has no item for markets does not tell releases by market: then there is no condition. One that
// has the item, and an index that leaves it out, is an unknown.
void check_market(const family::Family& family, const family::Release& r, const SetState& set,
                  std::vector<Condition>& out) {
    const bool told = family.package && family.package->release_fields.count("markets") != 0;
    if (r.markets.empty() && !told) return;
    std::set<std::string> seen;
    for (const auto& [role, box] : set) {
        if (!seen.insert(box.market).second) continue;
        Condition c{"market",
                    "market",
                    "market",
                    or_unknown(box.market),
                    r.markets.empty() ? "not known" : join(r.markets, ", "),
                    Truth::yes,
                    "",
                    "package index"};
        if (box.market.empty()) {
            c.holds = Truth::unknown;
            c.text = fmt::format("market: the box's is not known; {} is for {}", r.release, c.wanted);
        } else if (r.markets.empty()) {
            c.holds = Truth::unknown;
            c.text = fmt::format("market: the index of {} does not say which markets it is for", r.release);
        } else if (std::find(r.markets.begin(), r.markets.end(), box.market) == r.markets.end()) {
            c.holds = Truth::no;
            c.text = fmt::format("market: the box is {}, {} is for {} only", box.market, r.release, c.wanted);
        }
        out.push_back(std::move(c));
    }
}

// installs_from, and the family's stepping stones: nothing jumps over one, whatever the index says.
void check_way(const family::Family& family, const family::Release& r, const SetState& set,
               std::vector<Condition>& out) {
    std::set<std::string> seen;
    for (const auto& role : roles_of(family, r)) {
        const auto at = set.find(role);
        if (at == set.end() || !seen.insert(at->second.release).second) continue;
        const std::string& from = at->second.release;
        const auto older = [&](std::string_view a, std::string_view b) -> std::optional<bool> {
            const auto c = family::compare_versions(family.order, a, b);
            return c ? std::optional<bool>(*c < 0) : std::nullopt;
        };
        if (!r.installs_from.empty()) {
            Condition c{"way",
                        "installs-from",
                        "installed release",
                        or_unknown(from),
                        r.installs_from + " or later",
                        Truth::yes,
                        "",
                        "package index"};
            const auto below = from.empty() ? std::nullopt : older(from, r.installs_from);
            if (!below) {
                c.holds = Truth::unknown;
                c.text =
                    fmt::format("installed release: {}; {} installs from {} on", c.found, r.release, r.installs_from);
            } else if (*below) {
                c.holds = Truth::no;
                c.text = fmt::format("installed release: the box is at {}, {} installs from {} on", from, r.release,
                                     r.installs_from);
            }
            out.push_back(std::move(c));
        }
        for (const auto& stone : family.known) {
            if (!stone.stepping_stone || stone.release == r.release) continue;
            const auto above = older(stone.release, r.release);
            if (!above || !*above) continue;  // the stone is not below the release
            Condition c{
                "way", "stone-skipped", "installed release", or_unknown(from), stone.release + " or later", Truth::yes,
                "",    "family file"};
            const auto below = from.empty() ? std::nullopt : older(from, stone.release);
            if (!below) {
                c.holds = Truth::unknown;
                c.text = fmt::format("installed release: {}; {} must have come before {}", c.found, stone.release,
                                     r.release);
            } else if (*below) {
                c.holds = Truth::no;
                c.text = fmt::format("stepping stone: {} must come between {} and {}", stone.release, from, r.release);
            }
            out.push_back(std::move(c));
        }
    }
}

// The door that raised a counter above `have`: the oldest known one-way door whose counter is higher.
std::string door_above(const family::Family& family, std::int64_t have) {
    const family::KnownRelease* door = nullptr;
    for (const auto& k : family.known) {
        if (!k.one_way_door || !k.counter || *k.counter <= have) continue;
        if (door == nullptr || *k.counter < *door->counter) door = &k;
    }
    return door == nullptr ? std::string() : door->release;
}

// Is the release older (-1), the same (0) or newer (1) than what the box shows?
std::optional<int> age(const family::Family& family, const family::Release& r, const BoxState& box) {
    if (box.release.empty()) return std::nullopt;
    return box.release == r.release ? 0 : family::compare_versions(family.order, r.release, box.release);
}

void check_counter(const family::Family& family, const family::Release& r, const SetState& set,
                   std::vector<Condition>& out) {
    const Counter left = counter_left(family, r);
    for (const auto& role : roles_of(family, r)) {
        const auto at = set.find(role);
        if (at == set.end()) continue;
        const BoxState& box = at->second;
        const Counter has = counter_in(family, box);
        Condition c{"counter",
                    "counter-lower",
                    role + ".counter",
                    words(has),
                    "at most " + words(left),
                    takes(has, left),
                    "",
                    box.counter ? "read or computed from the route" : "family file"};
        if (c.holds == Truth::no) {
            const std::string door = door_above(family, left.low);
            if (!door.empty()) c.code = "one-way-door";
            c.text = fmt::format(
                "{}rollback counter: the {} box has {} and takes nothing that leaves less; {} leaves {}",
                door.empty() ? "" : "one-way door at " + door + ": ", role, words(has), r.release, words(left));
        } else if (c.holds == Truth::unknown) {
            // Going forward, what is not known cannot stand against. Going back, or not known which way, it decides.
            if (age(family, r, box).value_or(-1) >= 0) continue;
            c.code = "counter-unknown";
            c.wanted = words(left);
            c.text = has.low == Counter::lowest
                         ? fmt::format(
                               "rollback counter: that of the {} box is not known, and it takes nothing that "
                               "leaves less; {} leaves {}",
                               role, r.release, words(left))
                         : fmt::format(
                               "rollback counter: the {} box has {} and takes nothing that leaves less; {} "
                               "leaves {}",
                               role, words(has), r.release, words(left));
            c.rests_on = "family file";
        }
        out.push_back(std::move(c));
    }
    // A door that is known without counters: nothing older than the door goes on a box that is past it.
    std::set<std::string> seen;
    for (const auto& k : family.known) {
        if (!k.one_way_door || k.counter) continue;
        const auto before_door = family::compare_versions(family.order, r.release, k.release);
        if (before_door && *before_door >= 0) continue;
        for (const auto& [role, box] : set) {
            if (!seen.insert(k.release + " " + box.release).second) continue;
            const auto past =
                box.release.empty() ? std::nullopt : family::compare_versions(family.order, box.release, k.release);
            if (past && *past < 0) continue;
            const bool sure = before_door && past;
            const std::string text =
                sure ? fmt::format("the {} box is at {}, and {} is older than the door", role, box.release, r.release)
                     : fmt::format(
                           "whether the {} box (at {}) is past it, and {} older than it, "
                           "is not known",
                           role, or_unknown(box.release), r.release);
            out.push_back({"counter", sure ? "one-way-door" : "counter-unknown", "installed release",
                           or_unknown(box.release), "older than " + k.release, sure ? Truth::no : Truth::unknown,
                           fmt::format("one-way door at {}: {}", k.release, text), "family file"});
        }
    }
}

// A family whose boxes take nothing older: whole releases, before any piece of them is looked at.
void check_older(const family::Family& family, const family::Release& r, const SetState& set,
                 std::vector<Condition>& out) {
    if (!family.refuses_older) return;
    for (const auto& role : roles_of(family, r)) {
        const auto at = set.find(role);
        if (at == set.end()) continue;
        const std::string& from = at->second.release;
        const auto older = age(family, r, at->second);
        Condition c{"older",
                    older ? "older-not-taken" : "older-not-known",
                    "installed release",
                    or_unknown(from),
                    r.release + " or older",
                    !older       ? Truth::unknown
                    : *older < 0 ? Truth::no
                                 : Truth::yes,
                    "",
                    "family file"};
        if (!older)
            c.text = fmt::format("the {} box takes nothing older, and whether {} is older than {} cannot be said", role,
                                 r.release, from.empty() ? "what it has" : from);
        else if (*older < 0)
            c.text = fmt::format("the {} box takes nothing older: it is at {}, and {} is older", role, from, r.release);
        out.push_back(std::move(c));
    }
}

// A box that the release writes must have at least one piece for its issue letter.
void check_issue(const family::Family& family, const family::Release& r, const SetState& set,
                 std::vector<Condition>& out) {
    for (const auto& role : roles_of(family, r)) {
        const auto at = set.find(role);
        if (at == set.end()) continue;
        std::set<std::string> letters;
        bool any = false;
        bool yes = false;
        for (const auto& p : r.pieces) {
            if (p.box != role) continue;
            any = any || p.issues.empty();
            yes = yes || applies(p, set) == Truth::yes;
            letters.insert(p.issues.begin(), p.issues.end());
        }
        if (any && letters.empty()) continue;
        const std::string wanted = any ? "any" : join({letters.begin(), letters.end()}, ", ");
        Condition c{"issue",    "issue", role + ".issue", or_unknown(at->second.issue), wanted,
                    Truth::yes, "",      "package index"};
        if (at->second.issue.empty()) {
            c.code = "issue-unknown";
            c.holds = Truth::unknown;
            c.text = fmt::format("issue letter: that of the {} box is not known; {} has pieces for some letters only",
                                 role, r.release);
        } else if (!yes) {
            c.holds = Truth::no;
            c.text = fmt::format("issue letter: the {} box is {}, {} has pieces for {} only", role, at->second.issue,
                                 r.release, wanted);
        }
        out.push_back(std::move(c));
    }
}

}  // namespace

std::optional<std::int64_t> counter_of(const family::Family& family, std::string_view release) {
    const auto* known = family.known_release(release);
    return known == nullptr ? std::nullopt : known->counter;
}

std::optional<std::int64_t> counter_of(const family::Family& family, const family::Release& release) {
    return release.counter ? release.counter : counter_of(family, release.release);
}

bool is_one_way_door(const family::Family& family, const family::Release& release) {
    const auto* known = family.known_release(release.release);
    return release.one_way_door || (known != nullptr && known->one_way_door);
}

Truth applies(const family::Piece& piece, const SetState& set) {
    if (piece.issues.empty()) return Truth::yes;
    const auto at = set.find(piece.box);
    if (at == set.end() || at->second.issue.empty()) return Truth::unknown;
    const auto& list = piece.issues;
    return std::find(list.begin(), list.end(), at->second.issue) != list.end() ? Truth::yes : Truth::no;
}

std::vector<Condition> conditions(const family::Family& family, const family::Release& release, const SetState& set) {
    std::vector<Condition> out;
    check_family(family, release, out);
    check_boxes(family, release, set, out);
    check_market(family, release, set, out);
    check_way(family, release, set, out);
    check_counter(family, release, set, out);
    check_older(family, release, set, out);
    check_issue(family, release, set, out);
    return out;
}

Judgement fit(const family::Family& family, const family::Release& release, const SetState& set) {
    Judgement j;
    for (const auto& c : conditions(family, release, set)) {
        if (c.holds == Truth::yes) continue;
        const Verdict v = c.holds == Truth::no ? Verdict::halt : Verdict::cant_say;
        // Of the counter the sentence has both figures.
        j.add({c.code, v,
               c.rule == "counter" ? c.text : fmt::format("{} (found {}, wanted {})", c.text, c.found, c.wanted),
               c.field, c.rests_on});
    }
    if (j.reasons.empty()) {
        j.add({"fits", Verdict::fit,
               release.release + " fits: every condition of its index and of the family file holds", release.release,
               "package index"});
    }
    return j;
}

}  // namespace fettle::change
