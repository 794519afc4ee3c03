// Inside the link room only: one asynchronous step at a time, run on the caller's thread until it is done, its time is
// over or somebody cancels. Keeps Asio out of the public headers.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/address.hpp>
#include <chrono>
#include <optional>
#include <string>

#include "fettle/link/client.h"

namespace fettle::link {

using SteadyTime = std::chrono::steady_clock::time_point;

inline SteadyTime in_ms(std::int64_t ms) {
    return std::chrono::steady_clock::now() + std::chrono::milliseconds(ms);
}

enum class Waited { done, late, cancelled };

// Runs `context` until `done` turns true. On late and cancelled `stop` is called and the context is run dry, so that no
// handler can outlive the caller's variables.
template <class Stop>
Waited wait_for(boost::asio::io_context& context, const bool& done, SteadyTime until, const Cancel& cancel, Stop stop) {
    constexpr auto slice = std::chrono::milliseconds(50);
    Waited w = Waited::done;
    while (!done) {
        const auto now = std::chrono::steady_clock::now();
        if (cancel.cancelled() || now >= until) {
            w = cancel.cancelled() ? Waited::cancelled : Waited::late;
            break;
        }
        context.restart();
        context.run_one_until(std::min(until, now + slice));
    }
    if (!done) {
        stop();
        context.restart();
        context.run();
    }
    return w;
}

// Numeric addresses and "localhost" only: a name would need a look-up, whose time nobody can bound.
std::optional<boost::asio::ip::address> numeric_address(const std::string& host);

}  // namespace fettle::link
