#include "fettle/route/facts.h"

#include <algorithm>

#include "fettle/route/route.h"

namespace fettle::route {
namespace {

const std::map<std::string, Rule, std::less<>> rule_names = {
    {"family", Rule::family},   {"boxes", Rule::boxes}, {"market", Rule::market}, {"way", Rule::way},
    {"counter", Rule::counter}, {"issue", Rule::issue}, {"older", Rule::older},
};

// The numbers that the family's fields name.
std::vector<Figure> parts_of(const family::VersionOrder& order, const std::string& version) {
    std::vector<Figure> out;
    for (const auto& field : order.fields) out.push_back(family::version_number(order, version, field));
    return out;
}

}  // namespace

Rule rule_named(const std::string& name) {
    return rule_names.at(name);
}

Facts::Facts(const family::Family& family, const std::vector<family::Release>& releases, const change::SetState& start)
    : words_(start), refuses_older_(family.refuses_older) {
    for (const auto& [role, box] : start) {
        roles_.push_back(role);
        start_.push_back({version_of(family, box.release), box.counter, box.counter_at_least});
    }
    for (const auto& k : family.known) version_of(family, k.release);
    for (const auto& r : releases) {
        version_of(family, r.release);
        version_of(family, r.installs_from);
    }
    put_in_order(family);
    for (const auto& k : family.known) {
        if (k.one_way_door) doors_.push_back({k.release, versions_[numbers_.at(k.release)].rank, !k.counter});
    }
    const unsigned at_any_time =
        bit(Rule::family) | bit(Rule::boxes) | bit(Rule::market) | bit(Rule::issue);  // the same in every state
    for (const auto& r : releases) {
        OfRelease of;
        of.version = numbers_.at(r.release);
        const int own = versions_[of.version].rank;
        of.writes.assign(roles_.size(), false);
        const std::string* last = nullptr;
        for (const auto& p : r.pieces) {
            if (last != nullptr && *last == p.box) continue;
            last = &p.box;
            const auto at = std::find(roles_.begin(), roles_.end(), p.box);
            if (at != roles_.end()) {
                of.writes[static_cast<std::size_t>(at - roles_.begin())] = true;
            } else {
                of.writes_all_known = false;
            }
        }
        for (const auto& c : change::conditions(family, r, start)) {
            if (c.holds == change::Truth::no) of.always.broken |= bit(rule_named(c.rule)) & at_any_time;
            if (c.holds == change::Truth::unknown) of.always.unknown |= bit(rule_named(c.rule)) & at_any_time;
        }
        of.installs_from = !r.installs_from.empty();
        if (of.installs_from) of.from_rank = versions_[numbers_.at(r.installs_from)].rank;
        for (const auto& k : family.known) {
            const int at = versions_[numbers_.at(k.release)].rank;
            if (at < 0 || own < 0) continue;
            if (k.stepping_stone && k.release != r.release && at < own) of.stone_rank = std::max(of.stone_rank, at);
        }
        of.leaves = change::counter_left(family, r);
        releases_.push_back(std::move(of));
    }
    add_pairs(family);
}

std::uint32_t Facts::version_of(const family::Family& family, const std::string& text) {
    const auto [at, fresh] = numbers_.emplace(text, static_cast<std::uint32_t>(versions_.size()));
    if (fresh)
        versions_.push_back(
            {text, -1, change::counter_of(family, text), change::floor_of(family, text), parts_of(family.order, text)});
    return at->second;
}

// All versions that have a place in the family's order can be compared with each other.
void Facts::put_in_order(const family::Family& family) {
    std::vector<std::uint32_t> placed;
    for (std::uint32_t i = 0; i < versions_.size(); ++i) {
        const auto& text = versions_[i].text;
        if (!text.empty() && family::compare_versions(family.order, text, text)) placed.push_back(i);
    }
    const auto order = [&](std::uint32_t a, std::uint32_t b) {
        return family::compare_versions(family.order, versions_[a].text, versions_[b].text).value_or(0);
    };
    std::sort(placed.begin(), placed.end(), [&](auto a, auto b) { return order(a, b) < 0; });
    int rank = -1;
    for (std::size_t i = 0; i < placed.size(); ++i) {
        if (i == 0 || order(placed[i - 1], placed[i]) != 0) ++rank;
        versions_[placed[i]].rank = rank;
    }
}

void Facts::add_pairs(const family::Family& family) {
    const auto& fields = family.order.fields;
    const auto side = [&](const family::PairSides::Side& of) {
        const auto box = std::find(roles_.begin(), roles_.end(), of.role);
        const auto field = std::find(fields.begin(), fields.end(), of.field);
        if (box == roles_.end() || (field == fields.end() && of.field != "release")) return Side{};
        return Side{static_cast<int>(box - roles_.begin()),
                    of.field == "release" ? -1 : static_cast<int>(field - fields.begin())};
    };
    for (const auto& rule : family.pairs) {
        const auto sides = family::parse_pair(rule.text);
        const Rule kind = rule.when == "at rest" ? Rule::pair_at_rest : Rule::pair_under_way;
        pairs_.push_back(sides ? Pair{side(sides->left), side(sides->right), sides->op[0], kind}
                               : Pair{{}, {}, '=', kind});
    }
}

change::SetState Facts::in_words(const Now& now) const {
    change::SetState out = words_;
    for (std::size_t b = 0; b < roles_.size(); ++b) {
        auto& box = out[roles_[b]];
        box.release = versions_[now[b].version].text;
        box.counter = now[b].counter;
        box.counter_at_least = now[b].at_least;
    }
    return out;
}

void Facts::after(const Now& now, std::size_t release, Now& next) const {
    const OfRelease& r = releases_[release];
    next = now;
    for (std::size_t b = 0; b < next.size(); ++b) {
        if (!r.writes[b]) continue;
        const change::Counter has = change::counter_after(counter_in(next[b]), r.leaves);
        next[b] = {r.version, {}, {}};
        if (has.known())
            next[b].counter = has.low;
        else if (has.low != change::Counter::lowest)
            next[b].at_least = has.low;
    }
}

change::Counter Facts::counter_in(const BoxNow& box) const {
    const Version& at = versions_[box.version];
    return change::counter_from(box.counter ? box.counter : at.counter,
                                std::max(at.floor, box.at_least.value_or(change::Counter::lowest)));
}

std::optional<int> Facts::age(const BoxNow& box, std::uint32_t of) const {
    const Version& at = versions_[box.version];
    if (at.text.empty()) return std::nullopt;
    if (box.version == of) return 0;
    const int rank = versions_[of].rank;
    if (at.rank < 0 || rank < 0) return std::nullopt;
    return rank < at.rank ? -1 : rank > at.rank ? 1 : 0;
}

std::optional<int> Facts::compare(const Pair& pair, const Version& left, const Version& right) const {
    if (pair.left.part < 0 || pair.right.part < 0) {
        if (left.rank < 0 || right.rank < 0) return std::nullopt;
        return left.rank < right.rank ? -1 : left.rank > right.rank ? 1 : 0;
    }
    const auto& a = left.parts[static_cast<std::size_t>(pair.left.part)];
    const auto& b = right.parts[static_cast<std::size_t>(pair.right.part)];
    if (!a || !b) return std::nullopt;
    return *a < *b ? -1 : *a > *b ? 1 : 0;
}

void Facts::mark_pairs(const Now& now, std::size_t release, Marks& marks) const {
    const OfRelease& r = releases_[release];
    for (const Pair& pair : pairs_) {
        const auto after = [&](int box) -> const Version& {
            const auto b = static_cast<std::size_t>(box);
            return versions_[r.writes[b] ? r.version : now[b].version];
        };
        if (pair.left.box < 0 || pair.right.box < 0) {
            marks.unknown |= bit(pair.rule);
            continue;
        }
        const Version& left = after(pair.left.box);
        const Version& right = after(pair.right.box);
        const auto order = left.text.empty() || right.text.empty() ? std::nullopt : compare(pair, left, right);
        if (!order) {
            marks.unknown |= bit(pair.rule);
            continue;
        }
        const bool holds = pair.op == '=' ? *order == 0 : pair.op == '<' ? *order <= 0 : *order >= 0;
        if (!holds) marks.broken |= bit(pair.rule);
    }
}

// Doors without counters: nothing older than the door goes on a box that is past it.
void Facts::mark_doors(const Version& at, const Version& of, Marks& marks) const {
    for (const Door& d : doors_) {
        if (!d.without_counter) continue;
        const bool before_known = of.rank >= 0 && d.rank >= 0, past_known = at.rank >= 0 && d.rank >= 0;
        if ((before_known && of.rank >= d.rank) || (past_known && at.rank < d.rank)) continue;
        (before_known && past_known ? marks.broken : marks.unknown) |= bit(Rule::counter);
    }
}

Marks Facts::marks(const Now& now, std::size_t release) const {
    const OfRelease& r = releases_[release];
    Marks out = r.always;
    mark_pairs(now, release, out);
    for (std::size_t b = 0; b < now.size(); ++b) {
        const Version& at = versions_[now[b].version];
        mark_doors(at, versions_[r.version], out);
        if (!r.writes[b]) continue;
        if (at.rank >= 0 && at.rank < std::max(r.from_rank, r.stone_rank)) out.broken |= bit(Rule::way);
        if (r.installs_from && (at.rank < 0 || r.from_rank < 0)) out.unknown |= bit(Rule::way);
        if (r.stone_rank >= 0 && at.rank < 0) out.unknown |= bit(Rule::way);
        const auto age_of = age(now[b], r.version);
        const change::Truth taken = change::takes(counter_in(now[b]), r.leaves);
        if (taken == change::Truth::no) out.broken |= bit(Rule::counter);
        if (taken == change::Truth::unknown && age_of.value_or(-1) < 0) out.unknown |= bit(Rule::counter);
        if (refuses_older_ && !age_of) out.unknown |= bit(Rule::older);
        if (refuses_older_ && age_of && *age_of < 0) out.broken |= bit(Rule::older);
    }
    return out;
}

bool Facts::is_back(std::size_t target) const {
    const OfRelease& t = releases_[target];
    for (std::size_t b = 0; b < start_.size(); ++b) {
        if (t.writes[b] && age(start_[b], t.version).value_or(0) < 0) return true;
    }
    return false;
}

Marks Facts::direction(const Now& now, std::size_t release, std::size_t target) const {
    const OfRelease& r = releases_[release];
    const int goal = rank(target);
    const bool back = is_back(target);
    Marks out;
    for (std::size_t b = 0; b < now.size(); ++b) {
        if (!r.writes[b]) continue;
        const auto goes = age(now[b], r.version);
        if (!goes) {  // no step between, then; of the last it is said
            (release == target ? out.unknown : out.broken) |= bit(Rule::direction);
        } else if (back && goal >= 0 && *goes != 0) {
            const int from = versions_[now[b].version].rank, to = rank(release);
            if (to < std::min(from, goal) || to > std::max(from, goal)) out.broken |= bit(Rule::direction);
        } else if (!back && *goes < 0) {
            out.broken |= bit(Rule::direction);
        }
    }
    return out;
}

bool Facts::even() const {
    for (const BoxNow& b : start_) {
        const int rank = versions_[b.version].rank;
        if (rank < 0 || rank != versions_[start_.front().version].rank) return false;
    }
    return std::all_of(releases_.begin(), releases_.end(), [&](const OfRelease& r) {
        const auto all = std::count(r.writes.begin(), r.writes.end(), true);
        return versions_[r.version].rank >= 0 && (all == 0 || static_cast<std::size_t>(all) == r.writes.size());
    });
}

template <class See>
void Facts::each_door(const Now& now, std::size_t release, const See& see) const {
    const Version& to = versions_[releases_[release].version];
    const auto passes = [&](const std::string& name, int rank) {
        if (to.text != name && !(to.rank > rank && rank >= 0)) return false;
        return std::any_of(now.begin(), now.end(), [&](const BoxNow& b) {
            const int at = versions_[b.version].rank;
            return at >= 0 && at < rank;
        });
    };
    for (const Door& d : doors_) {
        if (passes(d.name, d.rank)) see(d.name);
    }
}

std::vector<std::string> Facts::doors(const Now& now, std::size_t release) const {
    std::vector<std::string> out;
    each_door(now, release, [&](const std::string& name) { out.push_back(name); });
    return out;
}

bool Facts::passes_needless(const Now& now, std::size_t release, const std::vector<std::string>& needed) const {
    bool any = false;
    each_door(now, release, [&](const std::string& name) {
        any = any || std::find(needed.begin(), needed.end(), name) == needed.end();
    });
    return any;
}

bool Facts::is_at(const Now& now, std::size_t release) const {
    const OfRelease& r = releases_[release];
    bool any = false;
    for (std::size_t b = 0; b < now.size(); ++b) {
        if (!r.writes[b]) continue;
        if (now[b].version != r.version) return false;
        any = true;
    }
    return any && r.writes_all_known;
}

}  // namespace fettle::route
