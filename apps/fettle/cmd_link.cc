#include "cmd_link.h"

#include <chrono>
#include <csignal>
#include <thread>

#include "fettle/show/link.h"

namespace fettle::app {
namespace {

template <class Request>
Request of_job(const Context& context, Request request) {
    request.job = context.job;
    return request;
}

volatile std::sig_atomic_t interrupted = 0;

// Ctrl-C ends the waits of a link command, so that it can say where it stands. A second one ends the program.
class Interruptible {
public:
    explicit Interruptible(const link::Cancel& cancel)
        : before_(std::signal(SIGINT,
                              [](int) {
                                  if (interrupted) std::signal(SIGINT, SIG_DFL), std::raise(SIGINT);
                                  interrupted = 1;
                              })),
          watcher_([cancel](const std::stop_token& stop) {
              while (!stop.stop_requested()) {
                  if (interrupted) return cancel.cancel();
                  std::this_thread::sleep_for(std::chrono::milliseconds(20));
              }
          }) {}
    ~Interruptible() { std::signal(SIGINT, before_); }
    Interruptible(const Interruptible&) = delete;
    Interruptible& operator=(const Interruptible&) = delete;

private:
    void (*before_)(int);
    std::jthread watcher_;
};

// Progress as it comes, one more try for readings, Ctrl-C.
workshop::LinkHow with_hands(const Context& context, workshop::LinkHow how) {
    how.reconnects = 1;
    how.progress = [&context](const std::string& words) { context.say(words + "\n"); };
    return how;
}

}  // namespace

Result<Answer> link_find(Context& context, const workshop::FindRequest& typed) {
    const auto found = workshop::find_boxes(context, of_job(context, typed));
    if (!found) return pass(found);
    return show::boxes_found(*found);
}

Result<Answer> link_read(Context& context, const workshop::ReadRequest& typed) {
    workshop::ReadRequest request = of_job(context, typed);
    request.how = with_hands(context, request.how);
    const Interruptible hands(request.how.cancel);
    const auto read = workshop::read_boxes(context, request);
    if (!read) return pass(read);
    return show::boxes_read(*read);
}

Result<Answer> link_faults(Context& context, const workshop::MemoryRequest& typed) {
    workshop::MemoryRequest request = of_job(context, typed);
    request.how = with_hands(context, request.how);
    const Interruptible hands(request.how.cancel);
    const auto read = workshop::read_faults(context, request);
    if (!read) return pass(read);
    return show::memory_read(*read);
}

Result<Answer> link_clear(Context& context, const workshop::ClearRequest& typed) {
    workshop::ClearRequest request = typed;
    request.how = with_hands(context, request.how);
    const Interruptible hands(request.how.cancel);
    const auto cleared = workshop::clear_faults(context, request);
    if (!cleared) return pass(cleared);
    return show::faults_cleared(*cleared, request.allowed_by);
}

}  // namespace fettle::app
