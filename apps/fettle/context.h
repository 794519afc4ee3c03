// What the command line knows of one call, beside the workshop that the acts are done in: cli.cc parses into a plain
// request, a cmd_*.cc calls one act and shows its value as an Answer, main.cc prints it and makes the exit code.
#pragma once

#include <functional>
#include <string>

#include "fettle/show/answer.h"
#include "fettle/workshop/workshop.h"

namespace fettle::app {

using show::Answer;

struct Context : workshop::Workshop {
    std::string job;  // --job J, or empty
    bool json = false;
    bool terminal = false;  // standard error is a terminal and --json was not given: progress may be drawn

    // What a long command tells people on standard output before it ends; nothing with --json. Set by main before any
    // command runs.
    std::function<void(const std::string& text)> say;
};

// Where the examples that came with the program stand; empty when none are found.
std::filesystem::path example_families_folder();

}  // namespace fettle::app
