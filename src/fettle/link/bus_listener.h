// Another tester on the same network: requests that no box sends (DoIP vehicle identification, entity status, power
// mode; ISO 13400-2) heard on a UDP port. It only listens; not a byte leaves it.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/link/address.h"

namespace fettle::link {

class BusListener {
public:
    // outside "bus-not-heard" when the port cannot be had (somebody holds it for himself), or the host is no address of
    // this machine in numbers.
    static Result<BusListener> open(const Endpoint& at);
    BusListener(BusListener&& other) noexcept;
    BusListener& operator=(BusListener&&) = delete;
    ~BusListener();

    // What was heard since the last call, one sentence each, at most 64; never waits. Datagrams of another kind, and
    // nonsense, are no evidence.
    std::vector<std::string> take();
    std::uint16_t port() const { return port_; }

private:
    BusListener(int fd, std::uint16_t port) : fd_(fd), port_(port) {}
    int fd_;
    std::uint16_t port_;
};

}  // namespace fettle::link
