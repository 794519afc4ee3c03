// The command line: the only file that knows option names. Everything here ends in one call of a cmd_*.h function.
#pragma once

#include <functional>
#include <string>
#include <variant>

#include "context.h"

namespace fettle::app {

struct Invocation {
    std::string command;  // "shelf add"
    Context context;      // home, job, json as given
    bool timings = false;
    std::function<Result<Answer>(Context&)> run;
};

// Help and version are printed and give an exit code of 0; a wrong command line gives an Error of kind usage.
struct Refused {
    Error error;
    std::string command;
    bool json = false;
};
using Parsed = std::variant<Invocation, int, Refused>;

Parsed parse_command_line(int argc, const char* const* argv);

}  // namespace fettle::app
