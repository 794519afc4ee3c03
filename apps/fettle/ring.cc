#include "ring.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <cstring>

#include "fettle/base/files.h"
#include "fettle/base/text.h"

extern char** environ;

namespace fettle::app {
namespace {

constexpr int kLongest_s = 20;  // a command of the shop's own that takes longer is ended

struct Child {
    pid_t pid;
    std::chrono::steady_clock::time_point begun;
};
std::vector<Child>& children() {
    static std::vector<Child> all;  // of this process; rings are made from one thread
    return all;
}

bool on_path(const std::string& program) {
    const char* path = std::getenv("PATH");
    for (const std::string& folder : split(path ? path : "/usr/bin:/bin", ':')) {
        if (!folder.empty() && ::access((folder + "/" + program).c_str(), X_OK) == 0) return true;
    }
    return false;
}

// Starts it in a process group of its own, with no input and no output of ours. -1: it could not be started.
pid_t start(std::vector<std::string> words, const std::vector<std::string>& extra_environment, int input = -1) {
    std::vector<char*> argv;
    for (std::string& w : words) argv.push_back(w.data());
    argv.push_back(nullptr);
    std::vector<std::string> environment = extra_environment;
    std::vector<char*> envp;
    for (char** e = environ; *e; ++e) envp.push_back(*e);
    for (std::string& e : environment) envp.push_back(e.data());
    envp.push_back(nullptr);
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    if (input >= 0)
        posix_spawn_file_actions_adddup2(&actions, input, 0);
    else
        posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_addopen(&actions, 1, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_addopen(&actions, 2, "/dev/null", O_WRONLY, 0);
    posix_spawnattr_t attributes;
    posix_spawnattr_init(&attributes);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP);
    pid_t pid = -1;
    if (::posix_spawnp(&pid, argv[0], &actions, &attributes, argv.data(), envp.data()) != 0) pid = -1;
    posix_spawn_file_actions_destroy(&actions);
    posix_spawnattr_destroy(&attributes);
    return pid;
}

bool ring_by(std::vector<std::string> words, const std::vector<std::string>& environment = {}) {
    const pid_t pid = start(std::move(words), environment);
    if (pid < 0) return false;
    children().push_back({pid, std::chrono::steady_clock::now()});
    return true;
}

}  // namespace

void reap_rings() {
    const auto now = std::chrono::steady_clock::now();
    std::erase_if(children(), [&](const Child& c) {
        if (now - c.begun > std::chrono::seconds(kLongest_s)) ::kill(-c.pid, SIGKILL);  // its own group, by its number
        return ::waitpid(c.pid, nullptr, WNOHANG) != 0;
    });
}

Rung ring(const Means& means, const std::string& job, const std::string& call, int rung, bool loud,
          const std::string& words) {
    Rung out;
    const auto tell = [&](const char* name, bool done) { (done ? out.by : out.failed).emplace_back(name); };
    const std::string said = printable(words);
    if (means.bell) {
        const int terminal = ::open("/dev/tty", O_WRONLY | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
        tell("bell", terminal >= 0 && ::write(terminal, "\a", 1) == 1);
        if (terminal >= 0) ::close(terminal);
    }
    if (means.notice)
        tell("notice", on_path("notify-send") && (std::getenv("DISPLAY") || std::getenv("WAYLAND_DISPLAY")) &&
                           ring_by({"notify-send", "--urgency=critical", "--", "Job " + job, said}));
    if (loud && means.spoken) {
        if (on_path("spd-say"))
            tell("spoken", ring_by({"spd-say", "--", said}));
        else if (on_path("espeak-ng"))
            tell("spoken", ring_by({"espeak-ng", "--", said}));
        else
            tell("spoken", false);
    }
    if (loud && !means.hook.empty())
        tell("hook",
             ring_by({"/bin/sh", "-c", means.hook}, {"FETTLE_JOB=" + job, "FETTLE_CALL=" + call,
                                                     fmt::format("FETTLE_RUNG={}", rung), "FETTLE_WORDS=" + said}));
    return out;
}

StayAwake::StayAwake() {
    if (!on_path("systemd-inhibit")) return;
    int ends[2];
    if (::pipe2(ends, O_CLOEXEC) != 0) return;
    pid_ =
        start({"systemd-inhibit", "--what=sleep:idle", "--who=Fettle", "--why=A run is under way", "cat"}, {}, ends[0]);
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

Heart::Heart(const Context& context, const std::string& job) {
    const auto folder = context.home / "beats";
    if (!make_folder(folder)) return;
    fd_ = ::open((folder / job).c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (const auto last = heart_of(context, job).count) count_ = *last;
}

Heart::~Heart() {
    if (fd_ >= 0) ::close(fd_);
}

void Heart::beat() {
    const std::string text = fmt::format("{:<20}\n", ++count_);
    if (fd_ >= 0 && ::pwrite(fd_, text.data(), text.size(), 0) < 0) return;  // who listens will be alarmed
}

void Heart::stop() {
    const std::string text = fmt::format("{:<20}\n", "stopped");
    if (fd_ >= 0 && ::pwrite(fd_, text.data(), text.size(), 0) < 0) return;
}

HeartRead heart_of(const Context& context, const std::string& job) {
    HeartRead out;
    const auto text = read_text_file(context.home / "beats" / job, 4096);
    if (!text) return out;
    const std::string word(trim(*text));
    out.stopped = word == "stopped";
    char* end = nullptr;
    const long n = std::strtol(word.c_str(), &end, 10);
    if (!word.empty() && *end == '\0') out.count = n;
    return out;
}

}  // namespace fettle::app
