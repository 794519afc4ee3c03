// Names of the outcomes, and which is the worse of two.
#include <array>

#include "fettle/cutmap/cutmap.h"

namespace fettle::cutmap {
namespace {

struct Named {
    std::string_view words, code;
};
constexpr std::array<Named, 8> names = {{{"nothing changed", "nothing-changed"},
                                         {"goes on by itself", "goes-on-by-itself"},
                                         {"same card takes it up", "same-card"},
                                         {"rests unfinished", "rests-unfinished"},
                                         {"starts, no net", "starts-no-net"},
                                         {"bench repair", "bench-repair"},
                                         {"lost", "lost"},
                                         {"done", "done"}}};

}  // namespace

std::string_view words(Outcome o) {
    return names.at(static_cast<std::size_t>(o)).words;
}

std::string_view code(Outcome o) {
    return names.at(static_cast<std::size_t>(o)).code;
}

bool no_way_back(Outcome o) {
    return o == Outcome::bench_repair || o == Outcome::lost;
}

int badness(Outcome o) {
    return o == Outcome::done ? 0 : static_cast<int>(o);
}

Outcome worst(const Outcomes& o) {
    Outcome w = *o.begin();
    for (const Outcome x : o) {
        if (badness(x) > badness(w)) w = x;
    }
    return w;
}

}  // namespace fettle::cutmap
