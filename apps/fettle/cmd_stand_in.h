// fettle stand-in.
#pragma once

#include <string>

#include "context.h"
#include "fettle/workshop/stand_in.h"

namespace fettle::app {

struct StandInOptions {
    workshop::StandInRequest ask;
    std::string clears = "each";  // --clears each|all|no
    std::string history;          // --history R,R: releases that it came up with before
};
// Runs in the foreground until the run has ended; tells on standard error where it listens and what is to be seen, and
// takes what is typed.
Result<Answer> stand_in(Context& context, const StandInOptions& options);

}  // namespace fettle::app
