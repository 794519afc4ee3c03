#include "fettle/alarm/awake.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>

#include "fettle/alarm/programs.h"

namespace fettle::alarm {

StayAwake::StayAwake() {
    if (!on_path("systemd-inhibit")) return;
    int ends[2];
    if (::pipe2(ends, O_CLOEXEC) != 0) return;
    pid_ = start_program({"systemd-inhibit", "--what=sleep:idle", "--who=Fettle", "--why=A run is under way", "cat"},
                         {}, ends[0]);
    ::close(ends[0]);
    pipe_ = ends[1];
}

bool StayAwake::held() {
    if (pid_ < 0) return false;
    if (::waitpid(pid_, nullptr, WNOHANG) == 0) return true;
    pid_ = -1;
    return false;
}

StayAwake::~StayAwake() {
    if (pipe_ >= 0) ::close(pipe_);
    if (pid_ < 0) return;
    ::kill(pid_, SIGTERM);
    ::waitpid(pid_, nullptr, 0);
}

double ClockJumps::jumped(UnixMs wall, double steady_s) {
    const double jump = static_cast<double>(wall - wall_) / 1000 - (steady_s - steady_s_);
    wall_ = wall;
    steady_s_ = steady_s;
    return std::abs(jump) > 5 ? jump : 0;
}

}  // namespace fettle::alarm
