#include "fettle/family/level.h"

#include <fmt/core.h>

#include <algorithm>

namespace fettle::family {
namespace {

constexpr int many_runs = 9;  // with nine runs watched, 1 in 10 that the next is longer than all of them

// The most runs that the time of an act was measured on; 0 if none was.
int most_measured(const Family& f) {
    int most = 0;
    for (const Act& a : f.script) {
        if (a.seconds) most = std::max(most, a.seconds->source.runs());
    }
    return most;
}

}  // namespace

Level level_of(const Family& f) {
    const int runs = most_measured(f);
    Level out;
    const auto rung = [&](bool there, std::string has, const char* wants) {
        const int level = static_cast<int>(out.rungs.size()) + 1;
        out.rungs.push_back({level, there, level_words(fmt::format("L{}", level)), there ? std::move(has) : "", wants});
        if (there && out.level == level - 1) out.level = level;
    };
    rung(f.package.has_value(), f.package ? fmt::format("[package] reads \"{}\"", f.package->index) : "",
         "a [package] section: the index is understood");
    rung(f.card.has_value(), "[card] says what its card looks like", "a [card] section: a card was accepted");
    rung(!f.script.empty(), fmt::format("{} [[act]] entries", f.script.size()), "[[act]] entries: a run was watched");
    rung(runs >= many_runs, fmt::format("times measured on {} runs", runs),
         "at least one act whose seconds are \"measured N\", N nine or more");
    rung(!f.boot.empty(), fmt::format("{} [[boot]] rules", f.boot.size()), "[[boot]] entries: the boot order is known");
    return out;
}

std::string level_words(std::string_view level) {
    if (level == "L0") return "plate only";
    if (level == "L1") return "package index understood";
    if (level == "L2") return "a card was accepted";
    if (level == "L3") return "one run watched";
    if (level == "L4") return "nine runs or more";
    if (level == "L5") return "boot order known";
    return "not stated";
}

}  // namespace fettle::family
