// One request to one box from its first byte to its outcome, as a state machine: no socket, no clock of its own. It
// waits for delivery, for the answer, through "pending" and "busy, repeat"; it ends in one of the four outcomes of
// Reply, whatever it hears.
//
// After a request that was not answered its answer may still come, and a late "no" to the old request looks like a "no"
// to the next; an answer that comes twice looks like the answer to the same question asked again. So when the box may
// still say something old (`owes`), and always before it is asked to clear, it is first asked for a sign of life:
// whatever comes before that answer is old. What is heard while nothing is asked is dropped. A request to clear is sent
// once, even after "busy".
#pragma once

#include <cstdint>
#include <optional>

#include "fettle/link/line.h"
#include "fettle/link/reply.h"
#include "fettle/link/timing.h"

namespace fettle::link {

class Exchange {
public:
    Exchange(std::uint16_t box, Bytes request, const Timing& timing, bool owes, SteadyTime now);

    // The message to send now, once each; its waiting time begins with this call. Say so when it has gone out.
    std::optional<Bytes> due(SteadyTime now);
    void went_out() { sent_ = sent_ || !fence_; }
    // Nothing is asked at this moment: what is heard now is older than what goes out next.
    bool idle() const { return state_ == State::to_send || state_ == State::pausing; }
    void hear(Heard heard, SteadyTime now);
    // Call when deadline() has passed, or at any time.
    void tick(SteadyTime now);

    SteadyTime deadline() const { return std::min(until_, end_); }
    bool done() const { return state_ == State::done; }
    bool owes() const { return owes_; }  // the box may still answer this request later
    std::uint16_t box() const { return box_; }
    int pending() const { return done() ? 0 : pending_; }  // so often it has said that the answer follows
    Reply take() { return std::move(reply_); }

private:
    enum class State { to_send, delivering, answering, pausing, done };
    void finish(Reply r, bool owes);
    void silent(std::string why);
    void take_message(const Bytes& data, SteadyTime now);
    void settled(Reply r, SteadyTime now);

    const Timing& timing_;
    std::uint16_t box_;
    Bytes request_;
    State state_ = State::to_send;
    bool clears_;
    bool owed_;
    bool fence_;  // the sign of life is what is being asked for
    bool sent_ = false;
    bool owes_ = false;
    bool delivered_ = false;
    int pending_ = 0;
    int busy_ = 0;
    SteadyTime until_, end_;
    std::string passed_over_;  // an answer of this box that is not to this request
    Reply reply_;
};

}  // namespace fettle::link
