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
    std::optional<double> speed;   // virtual seconds a second; else 300, or what the rehearsal gone on with had
    std::optional<double> cut_at;  // seconds of running, counted over all steps
    std::uint64_t seed = 1;
    std::string out;    // folder; empty: ./rehearsal, or the first ./rehearsal-N that is free
    std::string go_on;  // folder of a rehearsal that was left or killed in the middle: goes on with that
    bool ascii = false;
};
Result<Answer> rehearse(Context& context, const RehearseOptions& options);

}  // namespace fettle::app
