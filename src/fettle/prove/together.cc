// Pair rules against what is there, and the boxes' own histories against the planned path.
#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "fettle/base/text.h"
#include "fettle/prove/parts.h"

namespace fettle::prove {
namespace {

struct Release {
    std::string release, rests_on;
};

// The release that a box has now: as it said itself, or by all its pieces.
std::optional<Release> release_of(const std::string& role, const change::SetState& set_after, const Evidence& e,
                                  const std::vector<PieceProof>& pieces) {
    if (const auto said = e.releases.find(role); said != e.releases.end() && !said->second.empty())
        return Release{said->second, "read over the link"};
    const auto planned = set_after.find(role);
    if (planned == set_after.end() || planned->second.release.empty()) return std::nullopt;
    bool any = false, inferred = false;
    for (const PieceProof& p : pieces) {
        if (p.box != role || p.state == PieceState::not_expected) continue;  // a stranger makes it no other release
        any = true;
        if (p.state == PieceState::inferred)
            inferred = true;
        else if (p.state != PieceState::as_expected)
            return std::nullopt;
    }
    if (!any) return std::nullopt;
    if (inferred) return Release{planned->second.release, "inferred"};
    return Release{planned->second.release, e.as_left ? std::string(words(e.as_left->origin)) : "not read"};
}

std::optional<std::string> side(const family::Family& family, const family::PairSides::Side& s,
                                const std::string& release) {
    if (s.field == "release") return release;
    std::vector<std::string> names = family.order.fields;
    if (names.empty()) names = {"line", "step", "build"};
    const auto parts = split(release, '.');
    for (std::size_t i = 0; i < names.size() && i < parts.size(); ++i)
        if (names[i] == s.field) return parts[i];
    return std::nullopt;
}

std::optional<bool> holds(const family::Family& family, const family::PairSides& rule, const std::string& left_release,
                          const std::string& right_release) {
    const auto left = side(family, rule.left, left_release), right = side(family, rule.right, right_release);
    if (!left || !right) return std::nullopt;
    family::VersionOrder numbers;
    numbers.rule = "numeric";
    const bool whole = rule.left.field == "release";
    const auto order = family::compare_versions(whole ? family.order : numbers, *left, *right);
    if (!order) return std::nullopt;
    return rule.op == "==" ? *order == 0 : rule.op == "<=" ? *order <= 0 : *order >= 0;
}

bool is_path_after(const std::vector<std::string>& before, const std::vector<std::string>& after,
                   const std::vector<std::string>& path) {
    if (after.size() != before.size() + path.size()) return false;
    return std::equal(before.begin(), before.end(), after.begin()) &&
           std::equal(path.begin(), path.end(), after.begin() + static_cast<std::ptrdiff_t>(before.size()));
}
bool ends_with(const std::vector<std::string>& list, const std::vector<std::string>& tail) {
    return list.size() >= tail.size() && std::equal(tail.rbegin(), tail.rend(), list.rbegin());
}

// A box may keep only its last entries: the oldest may have fallen out.
bool is_path_after_forgetting(const std::vector<std::string>& before, const std::vector<std::string>& after,
                              const std::vector<std::string>& path) {
    for (std::size_t gone = 0; gone <= before.size(); ++gone)
        if (is_path_after({before.begin() + static_cast<std::ptrdiff_t>(gone), before.end()}, after, path)) return true;
    return false;
}

}  // namespace

std::vector<Finding> judge_pairs(const family::Family& family, const change::SetState& set_after, const Evidence& e,
                                 const std::vector<PieceProof>& pieces) {
    std::vector<Finding> out;
    for (const family::PairRule& rule : family.pairs) {
        if (rule.when != "at rest") continue;
        const auto sides = family::parse_pair(rule.text);
        const auto left = sides ? release_of(sides->left.role, set_after, e, pieces) : std::nullopt;
        const auto right = sides ? release_of(sides->right.role, set_after, e, pieces) : std::nullopt;
        const auto good = left && right ? holds(family, *sides, left->release, right->release) : std::nullopt;
        if (!good) {
            out.push_back(
                {{"pair-not-known", Verdict::cant_say, "cannot be said whether " + rule.text, "pair", "not read"},
                 false,
                 fmt::format("the releases that the boxes have now, for \"{}\"", rule.text)});
            continue;
        }
        const bool inferred = left->rests_on == "inferred" || right->rests_on == "inferred";
        const std::string rests =
            left->rests_on == right->rests_on ? left->rests_on : left->rests_on + "; " + right->rests_on;
        if (*good)
            out.push_back({{"pair-holds", inferred ? Verdict::mind : Verdict::fit,
                            fmt::format("the boxes go together: {} ({} and {}{})", rule.text, left->release,
                                        right->release, inferred ? ", inferred" : ""),
                            "pair", rests},
                           false,
                           ""});
        else
            out.push_back({{"pair-broken", Verdict::halt,
                            fmt::format("the boxes do not go together: {}, but they have {} and {}", rule.text,
                                        left->release, right->release),
                            "pair", rests},
                           true,
                           ""});
    }
    return out;
}

std::vector<Finding> judge_history(const family::Family& family, const Evidence& e) {
    std::vector<Finding> out;
    const bool linked = e.as_left && e.as_left->origin == Origin::read;
    std::vector<std::string> unread;
    for (const family::LinkBox& b : family.link)
        if (b.did_history != 0 && !e.history_after.contains(b.role) && !e.history_after.contains(""))
            unread.push_back(b.role);
    for (const auto& [role, after] : e.history_after) {
        const auto wanted = e.path.find(role);
        const std::vector<std::string> path = wanted == e.path.end() ? std::vector<std::string>{} : wanted->second;
        const auto before = e.history_before.find(role);
        const bool known_before = before != e.history_before.end();
        const std::string whose = role.empty() ? "the box's own history" : fmt::format("the {}'s own history", role);
        const bool good = known_before ? is_path_after_forgetting(before->second, after, path) : ends_with(after, path);
        const std::string rests = role.empty() ? "typed" : "read over the link";
        if (!good)
            out.push_back(
                {{"history-differs", Verdict::cant_say,
                  fmt::format(
                      "{} says {}{}; planned was {}", whose, after.empty() ? "nothing" : printable(join(after, ", ")),
                      known_before
                          ? fmt::format(" (before: {})",
                                        before->second.empty() ? "nothing" : printable(join(before->second, ", ")))
                          : "",
                      path.empty() ? "nothing" : join(path, ", ")),
                  "history", rests},
                 false,
                 "a history that names exactly the planned path"});
        else if (!known_before)
            out.push_back(
                {{"history-agrees", Verdict::fit,
                  fmt::format("{} ends with {}; what it said before was not read, so only its end is compared", whose,
                              join(path, ", ")),
                  "history", rests},
                 false,
                 ""});
        else
            out.push_back({{"history-agrees", Verdict::fit,
                            fmt::format("{} has gained exactly {}", whose, path.empty() ? "nothing" : join(path, ", ")),
                            "history", rests},
                           false,
                           ""});
    }
    if (!unread.empty() || e.history_after.empty())
        out.push_back(
            {{"history-not-read", Verdict::mind,
              unread.empty() ? std::string("the box's own history was not read")
                             : fmt::format("the history that the {} keeps was not read", join(unread, " and the ")),
              "history", "not read"},
             false,
             linked && !unread.empty()
                 ? "the box's own history, which it keeps: read it over the link, as after the run"
                 : ""});
    return out;
}

}  // namespace fettle::prove
