#include "fettle/alarm/ring.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>

#include "fettle/base/text.h"

namespace fettle::alarm {

Ringer::Ringer(Means means, std::chrono::milliseconds longest) : means_(std::move(means)), longest_(longest) {}

bool Ringer::start(std::vector<std::string> words, const std::vector<std::string>& environment) {
    const pid_t pid = start_program(std::move(words), environment);
    if (pid < 0) return false;
    started_.push_back({pid, std::chrono::steady_clock::now()});
    return true;
}

void Ringer::tidy() {
    const auto now = std::chrono::steady_clock::now();
    std::erase_if(started_, [&](const Started& s) {
        if (now - s.at > longest_) ::kill(-s.pid, SIGKILL);  // its own group, by its number
        return ::waitpid(s.pid, nullptr, WNOHANG) != 0;
    });
}

Rung Ringer::ring(const std::string& job, const Call& call) {
    Rung out;
    const auto note = [&](const char* name, bool done) { (done ? out.by : out.failed).emplace_back(name); };
    const std::string said = printable(call.words);
    if (means_.bell) {
        const int terminal = ::open("/dev/tty", O_WRONLY | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
        note("bell", terminal >= 0 && ::write(terminal, "\a", 1) == 1);
        if (terminal >= 0) ::close(terminal);
    }
    if (means_.notice)
        note("notice", on_path("notify-send") && (std::getenv("DISPLAY") || std::getenv("WAYLAND_DISPLAY")) &&
                           start({"notify-send", "--urgency=critical", "--", "Job " + job, said}));
    if (call.loud && means_.spoken) {
        if (on_path("spd-say"))
            note("spoken", start({"spd-say", "--", said}));
        else if (on_path("espeak-ng"))
            note("spoken", start({"espeak-ng", "--", said}));
        else
            note("spoken", false);
    }
    if (call.loud && !means_.hook.empty())
        note("hook",
             start({"/bin/sh", "-c", means_.hook}, {"FETTLE_JOB=" + job, "FETTLE_CALL=" + call.key,
                                                    fmt::format("FETTLE_RUNG={}", call.rung), "FETTLE_WORDS=" + said}));
    return out;
}

}  // namespace fettle::alarm
