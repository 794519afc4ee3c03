// Inside the link room: one way to boxes, DoIP or CAN alike. A line carries whole UDS messages and says what it hears;
// it knows nothing of what they mean. It never waits: what comes in is queued while its loop runs (see loop.h).
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <string>

#include "fettle/base/bytes.h"

namespace fettle::link {

// One thing that was heard on a line.
struct Heard {
    enum What {
        message,        // `data` from `box`
        delivered,      // the last request to `box` has arrived: acknowledged (DoIP), or sent to its last frame (CAN)
        not_delivered,  // the last request has not: `why`; box 0: the line cannot tell which
        begins,         // the first bytes of a message from `box` that is not whole yet; 0: not known whose
        broke_off,      // CAN: the rest of a message from `box` did not come: `why`
        damaged,        // a message from `box` that cannot be taken: `why`; 0: not known whose
        cancelled,      // somebody stopped the wait (from the driver, never from a line)
        spoilt,         // what came in cannot be believed any more: `why`; the line is closed
        broken,         // the other side is gone: `why`; the line is closed
    };
    What what = broken;
    std::uint16_t box = 0;
    Bytes data{};
    std::string why{};
};

class Line {
public:
    virtual ~Line() = default;

    // One whole message to a box. What becomes of it is heard. Does nothing on a closed line.
    virtual void send(std::uint16_t box, ByteView message) = 0;
    virtual void close() = 0;                           // no handler touches anything of the caller's afterwards
    virtual bool loopback() const = 0;                  // it ends on this machine
    virtual bool sends() const = 0;                     // bytes of the last message are still waiting to go out
    virtual std::uint16_t entity() const = 0;           // the gateway's address; on CAN the box's number
    virtual bool reaches(std::uint16_t box) const = 0;  // CAN: one box only

    std::optional<Heard> take() {
        if (heard_.empty()) return std::nullopt;
        Heard h = std::move(heard_.front());
        heard_.pop_front();
        return h;
    }
    const std::string& closed() const { return closed_; }  // why nothing more can be sent; empty while it stands
    bool was_lost() const { return lost_; }  // closed by the other side, not from here and not for nonsense

    // Closes the line for good; the first reason stays.
    void breaks(Heard::What what, std::string why) {
        if (!closed_.empty()) return;
        closed_ = why;
        lost_ = what == Heard::broken;
        close();
        heard_.push_back({what, 0, {}, std::move(why)});
    }

protected:
    void hears(Heard h) { heard_.push_back(std::move(h)); }

private:
    std::deque<Heard> heard_;
    std::string closed_;
    bool lost_ = false;
};

}  // namespace fettle::link
