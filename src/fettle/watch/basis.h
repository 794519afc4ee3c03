// What a run is held against, worked out once: the same at its first second and at its last.
#pragma once

#include <optional>
#include <vector>

#include "fettle/watch/model.h"
#include "fettle/watch/positions.h"

namespace fettle::watch {

struct Basis {
    // `of` refers to what must outlive it.
    Basis(const Step& of, bool bench);

    Step step;
    bool on_bench;
    std::optional<Model> model;  // none where the script, or how long its acts last, is not known
    Positions positions;
    std::vector<double> typical_s;                         // when each act begins by the medians; one more: the end
    std::vector<std::vector<const change::Line*>> writes;  // of each act of the script: the pieces it writes
    int restarts = 0;                                      // in the script

    // No good run gets from the beginning of act `from` to that of act `to` faster.
    double earliest_s(std::size_t from, std::size_t to) const;
};

}  // namespace fettle::watch
