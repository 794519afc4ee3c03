// What a recorder is told, byte for byte and frame for frame; see recording.h for the one that writes a file. Called on
// the thread that turns the loop.
#pragma once

#include <cstdint>

#include "fettle/base/bytes.h"
#include "fettle/link/address.h"
#include "fettle/link/can_frame.h"

namespace fettle::link {

class Recorder {
public:
    virtual ~Recorder() = default;
    // A TCP connection from `here` to `there` stands; `line` names it in later calls.
    virtual void opened(const void* line, const Endpoint& here, const Endpoint& there) = 0;
    virtual void tcp(const void* line, bool sent, ByteView bytes) = 0;  // as many at a time as the socket took or gave
    virtual void udp(bool sent, const Endpoint& here, const Endpoint& there, ByteView datagram) = 0;
    virtual void can(bool sent, const CanFrame& frame) = 0;
};

}  // namespace fettle::link
