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
#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::route {

// Rules that can stand against an edge, one bit each.
enum class Rule : unsigned { family, boxes, market, way, counter, issue, pair_under_way, pair_at_rest };
inline constexpr unsigned rules = 8;
inline unsigned bit(Rule r) {
    return 1u << static_cast<unsigned>(r);
}
inline constexpr unsigned at_rest_bit = 1u << static_cast<unsigned>(Rule::pair_at_rest);
Rule rule_named(const std::string& name);  // of change::Condition

using Counter = std::optional<std::int64_t>;

// A version that a box can show.
struct Version {
    std::string text;  // empty: not known
    int rank = -1;     // place in the family's order, from 0; equal ones share it; -1: no place
    Counter counter;   // as the family file knows it
    std::vector<std::optional<std::int64_t>> parts;  // by VersionOrder::fields
};

struct BoxNow {
    std::uint32_t version = 0;
    Counter counter;
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
    // Rules that do not hold when the release is put on the set as it is now.
    unsigned broken(const Now& now, std::size_t release) const;
    // Names of one-way doors that the release passes.
    std::vector<std::string> doors(const Now& now, std::size_t release) const;
    // Does it pass one that is not in `needed`?
    bool passes_needless(const Now& now, std::size_t release, const std::vector<std::string>& needed) const;
    bool is_at(const Now& now, std::size_t release) const;  // every box that it writes shows it

private:
    struct OfRelease {
        unsigned always_broken = 0;
        std::vector<bool> writes;  // by box
        bool writes_all_known = true;
        std::uint32_t version = 0;
        int needs_rank = -1;                               // installs_from and stones
        int door_limit = std::numeric_limits<int>::max();  // a box of this rank is past a door that this is older than
        Counter leaves;
        bool own_door = false;  // a one-way door that the family file does not list
    };
    struct Door {
        std::string name;
        int rank = -1;
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
    void rank(const family::Family& family);
    void add_pairs(const family::Family& family);
    unsigned broken_pairs(const Now& now, std::size_t release) const;
    std::optional<int> compare(const Pair& pair, const Version& left, const Version& right) const;
    template <class See>
    void each_door(const Now& now, std::size_t release, const See& see) const;

    std::vector<std::string> roles_;
    change::SetState words_;  // issue letters and markets, which no release changes
    std::vector<Version> versions_;
    std::map<std::string, std::uint32_t> numbers_;
    std::vector<OfRelease> releases_;
    std::vector<Door> doors_;
    std::vector<Pair> pairs_;
    Now start_;
};

}  // namespace fettle::route
