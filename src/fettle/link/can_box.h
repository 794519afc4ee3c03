// The other end of a CAN bus on this machine: boxes that answer over ISO-TP, on a UDP port of the loopback interface
// (the bus of can://127.0.0.1:PORT/…). For stand-ins and recordings that are played back; whoever has sent a frame
// there hears every frame from then on, as on a bus.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/link/address.h"
#include "fettle/link/loop.h"

namespace fettle::link {

// What a box does with one request: the messages it answers with, in order; none: silence.
using Answers = std::function<std::vector<Bytes>(ByteView request)>;

class CanBoxes {
public:
    // `at.can` of each address tells its identifiers and frames; all stand on the bus of the first. usage
    // "not-loopback" for a bus that is not on this machine, outside "port-busy". Works while the loop turns. Port 0:
    // any free one.
    struct Box {
        BoxAddress address;
        Answers answers;
    };
    static Result<std::unique_ptr<CanBoxes>> start(Loop& loop, std::vector<Box> boxes);
    ~CanBoxes();
    std::uint16_t port() const;

private:
    struct State;
    explicit CanBoxes(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::link
