// How much is known of a family: L0 plate only … L5 boot order known (docs/family-file.md). Computed from what a family
// file holds; what the file claims may be lower, never higher.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::family {

struct Rung {
    int level = 0;
    bool there = false;
    std::string means;  // "package index understood"
    std::string has;    // what in the file bears it out; empty if it is not there
    std::string wants;  // what would bear it out: "a [package] section: the index is understood"
};

struct Level {
    int level = 0;            // the highest whose rung, and every one below it, is there
    std::vector<Rung> rungs;  // L1 to L5
};
Level level_of(const Family& f);

// "plate only" for "L0"; "not stated" for what is no level.
std::string level_words(std::string_view level);

}  // namespace fettle::family
