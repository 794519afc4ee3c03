// The event loop of one or several lines, run on the caller's thread; and the two things that wait on it beside Asio's
// own sockets. Keeps Asio out of whoever includes it.
#pragma once

#include <functional>
#include <memory>

#include "fettle/link/timing.h"

namespace boost::asio {
class io_context;
}

namespace fettle::link {

struct Loop {
    Loop();
    ~Loop();
    Loop(const Loop&) = delete;
    Loop& operator=(const Loop&) = delete;

    // Handles one event, or waits for one until `until` at most.
    void turn(SteadyTime until);
    // Handles what is there already, without waiting; a bounded number of events.
    void drain();

    std::unique_ptr<boost::asio::io_context> context;
};

// Owns a non-blocking descriptor and calls `readable` each time that there is something to read (which must then read
// until nothing is left). Not called any more after close() or the end of the Watch. The loop outlives it.
class Watch {
public:
    Watch(Loop& loop, int fd, std::function<void()> readable);
    ~Watch();
    Watch(const Watch&) = delete;
    Watch& operator=(const Watch&) = delete;
    int fd() const;  // -1 once closed
    void close();

private:
    struct State;
    std::shared_ptr<State> state_;
};

// Calls `ring` once after each set(), unless it is set again or stopped before.
class Alarm {
public:
    Alarm(Loop& loop, std::function<void()> ring);
    ~Alarm();
    Alarm(const Alarm&) = delete;
    Alarm& operator=(const Alarm&) = delete;
    void set(SteadyTime at);
    void stop();

private:
    struct State;
    std::shared_ptr<State> state_;
};

}  // namespace fettle::link
