// Making oneself heard: bell, desktop notice, a spoken line, and a command of the shop's own. Each is started and left
// to itself; none can hold up a watch, and what cannot be used is named.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct Means {
    bool bell = true;
    bool notice = true;
    bool spoken = true;
    std::string hook;  // run by the shell, with FETTLE_JOB, FETTLE_CALL, FETTLE_RUNG and FETTLE_WORDS set; empty: none
};

struct Rung {
    std::vector<std::string> by, failed;  // means: "bell", "notice", "spoken", "hook"
};
// loud: spoken line and hook, too. Words are passed as they are, never through a shell.
Rung ring(const Means& means, const std::string& job, const std::string& call, int rung, bool loud,
          const std::string& words);

// Ends what is left of earlier rings after its time, and takes its exit. Call now and then.
void reap_rings();

// Keeps the machine from going to sleep while this object lives, also if this program is killed: the child that holds
// the lock ends with its standard input. held() false: no such service here.
class StayAwake {
public:
    StayAwake();
    ~StayAwake();
    StayAwake(const StayAwake&) = delete;
    StayAwake& operator=(const StayAwake&) = delete;
    bool held();

private:
    int pid_ = -1, pipe_ = -1;
};

// The count that tells a second terminal that the watch lives: HOME/beats/JOB.
class Heart {
public:
    Heart(const Context& context, const std::string& job);
    ~Heart();
    Heart(const Heart&) = delete;
    Heart& operator=(const Heart&) = delete;
    void beat();
    void stop();  // the run has ended: nobody needs to be alarmed

private:
    int fd_ = -1;
    long count_ = 0;
};
struct HeartRead {
    std::optional<long> count;
    bool stopped = false;
};
HeartRead heart_of(const Context& context, const std::string& job);

}  // namespace fettle::app
