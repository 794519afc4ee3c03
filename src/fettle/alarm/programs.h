// Programs of the machine that are started and left to themselves. Internal to this room.
#pragma once

#include <sys/types.h>

#include <string>
#include <vector>

namespace fettle::alarm {

bool on_path(const std::string& program);

// Starts it in a process group of its own, with `input` (or nothing) as its standard input and no output of ours. -1:
// it could not be started. Whoever starts it takes its exit.
pid_t start_program(std::vector<std::string> words, const std::vector<std::string>& extra_environment = {},
                    int input = -1);

}  // namespace fettle::alarm
