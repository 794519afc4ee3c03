#include "fettle/link/loop.h"

#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>

namespace fettle::link {

namespace asio = boost::asio;
using boost::system::error_code;

Loop::Loop() : context(std::make_unique<asio::io_context>(1)) {}
Loop::~Loop() = default;

void Loop::turn(SteadyTime until) {
    if (context->stopped()) context->restart();
    context->run_one_until(until);
}

void Loop::drain() {
    if (context->stopped()) context->restart();
    for (int i = 0; i < 4096 && context->poll_one() > 0; ++i) {
    }
}

// --- descriptors ---------------------------------------------------------------------------------------------------

struct Watch::State : std::enable_shared_from_this<State> {
    State(Loop& loop, int fd, std::function<void()> f) : socket(*loop.context, fd), readable(std::move(f)) {}
    asio::posix::stream_descriptor socket;
    std::function<void()> readable;

    void wait() {
        socket.async_wait(asio::posix::stream_descriptor::wait_read, [self = shared_from_this()](const error_code& e) {
            if (e || !self->socket.is_open()) return;
            self->readable();
            if (self->socket.is_open()) self->wait();
        });
    }
};

Watch::Watch(Loop& loop, int fd, std::function<void()> readable)
    : state_(std::make_shared<State>(loop, fd, std::move(readable))) {
    error_code ignored;
    state_->socket.non_blocking(true, ignored);
    state_->wait();
}
Watch::~Watch() {
    close();
}
int Watch::fd() const {
    return state_->socket.is_open() ? state_->socket.native_handle() : -1;
}
void Watch::close() {
    error_code ignored;
    state_->socket.close(ignored);
}

// --- time ----------------------------------------------------------------------------------------------------------

struct Alarm::State : std::enable_shared_from_this<State> {
    State(Loop& loop, std::function<void()> f) : timer(*loop.context), ring(std::move(f)) {}
    asio::steady_timer timer;
    std::function<void()> ring;
    std::uint64_t setting = 0;  // a ring that was already on its way when the alarm was set again is none
};

Alarm::Alarm(Loop& loop, std::function<void()> ring) : state_(std::make_shared<State>(loop, std::move(ring))) {}
Alarm::~Alarm() {
    stop();
}
void Alarm::set(SteadyTime at) {
    state_->timer.expires_at(at);
    state_->timer.async_wait([self = state_, setting = ++state_->setting](const error_code& e) {
        if (!e && setting == self->setting) self->ring();
    });
}
void Alarm::stop() {
    ++state_->setting;
    state_->timer.cancel();
}

}  // namespace fettle::link
