// Making oneself heard: bell, desktop notice, a spoken line, and a command of the shop's own. Each is started and left
// to itself; none can hold up a watch, and what cannot be used is named.
#pragma once

#include <chrono>
#include <string>
#include <vector>

#include "fettle/alarm/calls.h"
#include "fettle/alarm/programs.h"

namespace fettle::alarm {

struct Means {
    bool bell = true;
    bool notice = true;
    bool spoken = true;
    std::string hook;  // run by the shell, with FETTLE_JOB, FETTLE_CALL, FETTLE_RUNG and FETTLE_WORDS set; empty: none
};

struct Rung {
    std::vector<std::string> by, failed;  // means, in the order they were tried: "bell", "notice", "spoken", "hook"
};

class Ringer {
public:
    // longest: a command that takes longer is ended.
    explicit Ringer(Means means, std::chrono::milliseconds longest = std::chrono::seconds(20));
    ~Ringer() = default;  // what it has started goes on
    Ringer(const Ringer&) = delete;
    Ringer& operator=(const Ringer&) = delete;

    // Bell and notice; for a loud call the spoken line and the hook, too. Words are passed as they are, never through a
    // shell. Returns at once.
    Rung ring(const std::string& job, const Call& call);
    // Ends what is left of earlier rings after its time, and takes the exit of what has ended. Call now and then.
    void tidy();
    std::size_t under_way() const { return started_.size(); }

private:
    struct Started {
        pid_t pid;
        std::chrono::steady_clock::time_point at;
    };
    bool start(std::vector<std::string> words, const std::vector<std::string>& environment = {});

    Means means_;
    std::chrono::milliseconds longest_;
    std::vector<Started> started_;
};

}  // namespace fettle::alarm
