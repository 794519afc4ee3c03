// Inside the link room: where CAN frames go out and come in: a raw SocketCAN socket, or a bus of our own on the
// loopback interface for machines whose kernel has no CAN (UDP datagrams in the form of can_frame.h; whoever holds the
// port is the box's side, and answers everybody who has spoken).
#pragma once

#include <functional>
#include <memory>

#include "fettle/base/result.h"
#include "fettle/link/address.h"
#include "fettle/link/can_frame.h"
#include "fettle/link/loop.h"

namespace fettle::link {

enum class Put { done, full, gone };

class CanPort {
public:
    virtual ~CanPort() = default;
    virtual Put put(const CanFrame& frame) = 0;  // full: try again a little later
    // Calls `frames` for each frame of the wanted identifier, and `gone` once when the bus is no more.
    virtual void listen(std::function<void(const CanFrame&)> frames, std::function<void(std::string)> gone) = 0;
    virtual void close() = 0;
    virtual bool loopback() const = 0;
};

// outside "link-not-reachable": no such interface, no right, or a kernel without CAN.
Result<std::shared_ptr<CanPort>> open_can_port(const BoxAddress& at, Loop& loop);

}  // namespace fettle::link
