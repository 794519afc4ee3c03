// Inside the link room only: one asynchronous step at a time, run on the caller's thread until it is done, its time is
// over or somebody cancels. Keeps Asio out of the public headers.
#pragma once

#include <boost/asio/ip/address.hpp>
#include <optional>
#include <string>

#include "fettle/link/loop.h"
#include "fettle/link/timing.h"

namespace fettle::link {

inline SteadyTime in_ms(std::int64_t ms) {
    return std::chrono::steady_clock::now() + std::chrono::milliseconds(ms);
}

enum class Waited { done, late, cancelled };

// Turns the loop until `happened()`.
template <class Happened>
Waited wait_until(Loop& loop, SteadyTime until, const Cancel& cancel, Happened happened) {
    constexpr auto slice = std::chrono::milliseconds(50);
    while (!happened()) {
        const auto now = std::chrono::steady_clock::now();
        if (cancel.cancelled()) return Waited::cancelled;
        if (now >= until) return Waited::late;
        loop.turn(std::min(until, now + slice));
    }
    return Waited::done;
}

// The same for one step that sets `done`. On late and cancelled `stop` is called and the loop is turned until the step
// has ended, so that its handler cannot outlive the caller's variables.
template <class Stop>
Waited wait_for(Loop& loop, const bool& done, SteadyTime until, const Cancel& cancel, Stop stop) {
    const Waited w = wait_until(loop, until, cancel, [&] { return done; });
    if (w != Waited::done) {
        stop();
        while (!done) loop.turn(in_ms(50));
    }
    return w;
}

// Numeric addresses and "localhost" only: a name would need a look-up, whose time nobody can bound.
std::optional<boost::asio::ip::address> numeric_address(const std::string& host);

}  // namespace fettle::link
