#include "fettle/base/half_done.h"

#include <unistd.h>

#include <chrono>
#include <csignal>
#include <map>
#include <system_error>
#include <thread>

namespace fettle {
namespace fs = std::filesystem;
namespace {

struct Entry {
    HalfDone::What what = HalfDone::What::all;
    std::function<void()> clear;  // if set, instead
};
struct Register {
    std::mutex mutex;
    std::map<fs::path, Entry> paths;

    void add(const fs::path& path, Entry entry) {
        const std::lock_guard lock(mutex);
        paths[path] = std::move(entry);
    }
};

// Never destroyed: the thread that waits for signals outlives main.
Register& the_register() {
    static auto* const r = new Register;
    return *r;
}

fs::path in_full(fs::path path) {
    std::error_code ec;
    fs::path out = fs::absolute(path, ec);
    return ec ? std::move(path) : out;
}

// The other threads go on until the end, so a file may appear in a folder while it is emptied: it is emptied again
// until it is gone. No folder appears any more (hold_off_the_end), so that comes soon; the time is for a disk that
// fails.
void remove(const fs::path& path, HalfDone::What what) {
    std::error_code ec;
    const auto until = std::chrono::steady_clock::now() + std::chrono::seconds(5);
    while (fs::exists(fs::symlink_status(path, ec)) && std::chrono::steady_clock::now() < until) {
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
    for (auto at = r.paths.rbegin(); at != r.paths.rend(); ++at) {  // what stands below a path comes before it
        if (at->second.clear)
            at->second.clear();
        else
            remove(at->first, at->second.what);
    }
    std::signal(signal, SIG_DFL);
    sigset_t only;
    sigemptyset(&only);
    sigaddset(&only, signal);
    ::pthread_sigmask(SIG_UNBLOCK, &only, nullptr);
    ::raise(signal);
    ::_exit(128 + signal);
}

}  // namespace

HalfDone::HalfDone(fs::path path, What what) : path_(in_full(std::move(path))) {
    the_register().add(path_, {what, {}});
}

HalfDone::HalfDone(fs::path path, std::function<void()> clear) : path_(in_full(std::move(path))) {
    the_register().add(path_, {What::all, std::move(clear)});
}

HalfDone::~HalfDone() {
    Register& r = the_register();
    const std::lock_guard lock(r.mutex);
    r.paths.erase(path_);
}

std::unique_lock<std::mutex> hold_off_the_end() {
    return std::unique_lock(the_register().mutex);
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
