// What the rules say of each release and version of one question, worked out once and kept as numbers, so that a search
// over many releases compares no texts. change::conditions() says what the rules are; a test holds the two together.
#pragma once

#include <cstdint>
#include <limits>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "fettle/change/change.h"
#include "fettle/change/counters.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::route {

// Rules that can stand against an edge, one bit each.
enum class Rule : unsigned {
    family,
    boxes,
    market,
    way,
    counter,
    issue,
    older,
    direction,  // of the way to a target, so of no release by itself: no box goes away from it
    pair_under_way,
    pair_at_rest
};
inline constexpr unsigned rules = 10;
inline unsigned bit(Rule r) {
    return 1u << static_cast<unsigned>(r);
}
inline constexpr unsigned at_rest_bit = 1u << static_cast<unsigned>(Rule::pair_at_rest);
Rule rule_named(const std::string& name);  // of change::Condition

// Of an edge: the rules that do not hold, and those of which it is not known.
struct Marks {
    unsigned broken = 0, unknown = 0;
};

using Figure = std::optional<std::int64_t>;

// A version that a box can show.
struct Version {
    std::string text;  // empty: not known
    int rank = -1;     // place in the family's order, from 0; equal ones share it; -1: no place
    Figure counter;    // as the family file knows it
    std::int64_t floor = change::Counter::lowest;  // of the one-way doors up to it
    std::vector<Figure> parts;                     // by VersionOrder::fields
};

struct BoxNow {
    std::uint32_t version = 0;
    Figure counter, at_least;
    bool operator==(const BoxNow&) const = default;
};
using Now = std::vector<BoxNow>;  // in the order of the set's roles

class Facts {
public:
    Facts(const family::Family& family, const std::vector<family::Release>& releases, const change::SetState& start);

    const Version& version(std::uint32_t i) const { return versions_[i]; }
    Now start() const { return start_; }
    change::SetState in_words(const Now& now) const;

    void after(const Now& now, std::size_t release, Now& next) const;
    // Of every rule but the direction, when the release is put on the set as it is now.
    Marks marks(const Now& now, std::size_t release) const;
    // Does the release lead a box away from the target? Up the way no box goes down; back, none goes up past what it
    // has, nor down past the target. Broken or unknown: Rule::direction.
    Marks direction(const Now& now, std::size_t release, std::size_t target) const;
    // Some box that it writes started newer.
    bool is_back(std::size_t target) const;
    int rank(std::size_t release) const { return versions_[releases_[release].version].rank; }
    const std::string& name(std::size_t release) const { return versions_[releases_[release].version].text; }
    // Every release has its place in the order and writes all boxes or none, and these stand at one release: then no
    // way leads by a state whose boxes differ.
    bool even() const;
    // Names of one-way doors that the release passes.
    std::vector<std::string> doors(const Now& now, std::size_t release) const;
    // Does it pass one that is not in `needed`?
    bool passes_needless(const Now& now, std::size_t release, const std::vector<std::string>& needed) const;
    bool is_at(const Now& now, std::size_t release) const;  // every box that it writes shows it

private:
    struct OfRelease {
        Marks always;              // the same in every state
        std::vector<bool> writes;  // by box
        bool writes_all_known = true;
        std::uint32_t version = 0;
        bool installs_from = false;  // says so
        int from_rank = -1;          // of it
        int stone_rank = -1;         // of the newest stepping stone below
        change::Counter leaves;
    };
    struct Door {
        std::string name;
        int rank = -1;
        bool without_counter = false;
    };
    struct Side {
        int box = -1;
        int part = -1;  // number of the field; -1: the whole version
    };
    struct Pair {
        Side left, right;
        char op = '=';
        Rule rule = Rule::pair_at_rest;
    };

    std::uint32_t version_of(const family::Family& family, const std::string& text);
    void put_in_order(const family::Family& family);
    void add_pairs(const family::Family& family);
    change::Counter counter_in(const BoxNow& box) const;
    void mark_doors(const Version& at, const Version& of, Marks& marks) const;
    void mark_pairs(const Now& now, std::size_t release, Marks& marks) const;
    std::optional<int> compare(const Pair& pair, const Version& left, const Version& right) const;
    std::optional<int> age(const BoxNow& box, std::uint32_t of) const;  // of a version beside what the box shows
    template <class See>
    void each_door(const Now& now, std::size_t release, const See& see) const;

    std::vector<std::string> roles_;
    change::SetState words_;  // issue letters and markets, which no release changes
    std::vector<Version> versions_;
    std::map<std::string, std::uint32_t> numbers_;
    std::vector<OfRelease> releases_;
    std::vector<Door> doors_;
    std::vector<Pair> pairs_;
    bool refuses_older_ = false;
    Now start_;
};

}  // namespace fettle::route
