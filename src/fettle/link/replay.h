// A recording that answers: the boxes in it, on this machine, saying to each question what they said then. A question
// that was asked several times gets its answers in that order, and the last one from then on. A question that is not in
// the recording is not answered (over DoIP: "cannot be reached", so that nobody waits); nothing is ever made up.
#pragma once

#include <memory>
#include <set>
#include <string>

#include "fettle/base/result.h"
#include "fettle/link/address.h"
#include "fettle/link/loop.h"
#include "fettle/link/recording.h"

namespace fettle::link {

class Replay {
public:
    // Listens at a port of the loopback interface (UDP and TCP; boxes on CAN at the next one). Works while the loop
    // turns. bad_input "recording-empty" when nothing was asked in it; usage "not-loopback", outside "port-busy". Port
    // 0: any.
    static Result<std::unique_ptr<Replay>> start(Loop& loop, Recorded recorded, const Endpoint& at);
    ~Replay();

    std::uint16_t port() const;               // 0: nothing of it went over DoIP
    std::vector<BoxAddress> on_can() const;   // how each box on CAN is reached
    std::size_t asked() const;                // questions so far
    std::set<std::string> not_in_it() const;  // "0x1041 22f195": those that the recording does not have

private:
    struct State;
    explicit Replay(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

}  // namespace fettle::link
