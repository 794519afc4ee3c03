// A watch that sleeps calls nobody: keeping the machine awake, and noticing when it slept all the same.
#pragma once

#include "fettle/base/clock.h"

namespace fettle::alarm {

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

// A machine that slept, or whose clock was set: the clock of the day and one that only counts part.
class ClockJumps {
public:
    ClockJumps(UnixMs wall, double steady_s) : wall_(wall), steady_s_(steady_s) {}
    // Seconds by which the clock of the day ran ahead of the other since the last call (back: negative); 0 up to five.
    double jumped(UnixMs wall, double steady_s);

private:
    UnixMs wall_;
    double steady_s_;
};

}  // namespace fettle::alarm
