// What the link may send, by the state the job is in. The last word before anything goes onto a wire: whoever builds a
// request, and whatever type it has, its bytes pass here.
#pragma once

#include <string>

#include "fettle/base/bytes.h"

namespace fettle::link {

enum class Phase {
    no_run,        // before and after runs: reading, and clearing toward this machine
    run_open,      // from start to end of a run: nothing at all
    run_may_poll,  // the same, in a state that the family file calls safe to poll: reading only
};

enum class Held {
    free,          // it may go out
    run,           // a run is open
    not_listed,    // no request that the link may send
    clear_in_run,  // clearing, while a run is open
    clear_far,     // clearing, toward another machine
};
// `loopback`: the other end is on this machine.
Held held(Phase phase, ByteView message, bool loopback);
// One clause that says why not; empty when it may go out.
std::string held_back(Phase phase, ByteView message, bool loopback);

}  // namespace fettle::link
