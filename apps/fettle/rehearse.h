// fettle rehearse: the whole job on a virtual set, by the same commands that a technician types. Nothing outside its
// own folder is touched, nothing leaves the loopback interface, and its time is virtual.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "context.h"

namespace fettle::app {

struct RehearseOptions {
    std::string family = "dunnock";
    std::string from;              // empty: the oldest of the family's example releases
    std::string to;                // empty: the newest of them
    double speed = 300;            // virtual seconds a second
    std::optional<double> cut_at;  // seconds of running, counted over all steps
    std::uint64_t seed = 1;
    std::string out;  // folder; empty: ./rehearsal, or the first ./rehearsal-N that is free
    bool ascii = false;
};
Result<Answer> rehearse(Context& context, const RehearseOptions& options);

}  // namespace fettle::app
