// A label pattern as an automaton. RE2 decides whether a whole text is accepted and where its fields are; it cannot say
// what may stand next, which is what look-alike correction and "expected a digit here" need. So patterns use a part of
// RE2's syntax that this file can also turn into an automaton by itself:
//
//   literals, \ before punctuation, classes [A-Z0-9] and \d \w, groups (…) (?:…) (?P<name>…), alternation |, and
//   ? * + {n} {n,} {n,m}
//
// Not allowed, each refused with a reason: . and negated classes (name what may stand), ^ and $ (the whole text is
// always matched), flags, lazy repeats, Unicode classes, anything that is not ASCII.
#pragma once

#include <bitset>
#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"

namespace fettle::family {

using CharSet = std::bitset<128>;

// What may stand at one place, in words: "a digit", "a capital letter", "one of 5 6 X", "a digit or X".
std::string words(const CharSet& set);

class Pattern {
public:
    // Sorted places of the pattern that may have been the last one matched; empty: no way on. 0 is the beginning.
    using States = std::vector<std::uint16_t>;

    static constexpr std::size_t most_places = 512;

    // bad_input "pattern-unusable"; place is "character N" of the pattern (1-based).
    static Result<Pattern> compile(std::string_view pattern);

    States start() const { return {0}; }
    States step(const States& at, char c) const;  // empty if c cannot stand there
    bool accepts(const States& at) const;         // the text may end here
    CharSet next(const States& at) const;         // what may stand next
    std::size_t places() const { return classes_.size() - 1; }

    const std::vector<std::string>& fields() const { return fields_; }  // named groups, in order
    // The pattern text of a named group, nullptr if there is none of that name.
    const std::string* field_pattern(std::string_view name) const;

private:
    friend class PatternParser;
    std::vector<CharSet> classes_;                    // by place; [0] unused
    std::vector<std::vector<std::uint16_t>> follow_;  // by place: places that may come next
    std::vector<bool> last_;                          // by place: the text may end after it
    std::vector<std::string> fields_;
    std::map<std::string, std::string, std::less<>> field_patterns_;
};

}  // namespace fettle::family
