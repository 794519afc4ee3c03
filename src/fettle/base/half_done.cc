#include "fettle/base/half_done.h"

#include <unistd.h>

#include <csignal>
#include <map>
#include <mutex>
#include <system_error>
#include <thread>

namespace fettle {
namespace fs = std::filesystem;
namespace {

struct Register {
    std::mutex mutex;
    std::map<fs::path, HalfDone::What> paths;
};

// Never destroyed: the thread that waits for signals outlives main.
Register& the_register() {
    static auto* const r = new Register;
    return *r;
}

// The other threads go on until the end, so something may appear while a folder is emptied.
void remove(const fs::path& path, HalfDone::What what) {
    std::error_code ec;
    for (int tries = 0; tries < 10 && fs::exists(fs::symlink_status(path, ec)); ++tries) {
        if (what == HalfDone::What::all) {
            fs::remove_all(path, ec);
            continue;
        }
        bool empty = true;
        std::error_code left;
        for (const auto& entry : fs::directory_iterator(path, ec)) {
            empty = false;
            fs::remove_all(entry.path(), left);
        }
        if (empty) return;
    }
}

[[noreturn]] void end_by(int signal) {
    Register& r = the_register();
    r.mutex.lock();  // for good: nothing becomes half done any more, and nothing is taken for whole
    for (const auto& [path, what] : r.paths) remove(path, what);
    std::signal(signal, SIG_DFL);
    sigset_t only;
    sigemptyset(&only);
    sigaddset(&only, signal);
    ::pthread_sigmask(SIG_UNBLOCK, &only, nullptr);
    ::raise(signal);
    ::_exit(128 + signal);
}

}  // namespace

HalfDone::HalfDone(fs::path path, What what) {
    std::error_code ec;
    path_ = fs::absolute(path, ec);
    if (ec) path_ = std::move(path);
    Register& r = the_register();
    const std::lock_guard lock(r.mutex);
    r.paths[path_] = what;
}

HalfDone::~HalfDone() {
    Register& r = the_register();
    const std::lock_guard lock(r.mutex);
    r.paths.erase(path_);
}

void clear_away_when_ended() {
    sigset_t signals;
    sigemptyset(&signals);
    for (const int s : {SIGINT, SIGTERM, SIGHUP}) {
        struct sigaction now{};
        if (::sigaction(s, nullptr, &now) == 0 && now.sa_handler != SIG_IGN) sigaddset(&signals, s);
    }
    ::pthread_sigmask(SIG_BLOCK, &signals, nullptr);
    the_register();
    std::thread([signals] {
        int signal = 0;
        if (::sigwait(&signals, &signal) == 0) end_by(signal);
    }).detach();
}

}  // namespace fettle
