// ISO-TP (ISO 15765-2): messages of up to 4 GiB over CAN frames of 8 (FD: 64) bytes. Two state machines and nothing
// else: no socket, no clock; the time is passed in. What they give out are frame payloads; the identifiers are the
// caller's.
//
//     single frame        0L data            length 1 to 7; on FD frames above 8 bytes 00 LL data
//     first frame         1L LL data         length 8 to 4095; above that 10 00 and four bytes of length
//     consecutive frame   2N data            N counts from 1, after 15 comes 0
//     flow control        3S BS STmin        S 0 go on, 1 wait, 2 overflow
//
// With extended addressing (Config::extension) one address byte stands before all of this.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <string_view>

#include "fettle/base/bytes.h"
#include "fettle/link/timing.h"

namespace fettle::link::isotp {

// Milliseconds. As, Ar, Bs and Cr are the standard's time-outs. Br and Cs are what it requires of this side (N_Br +
// N_Ar and N_Cs + N_As below 0.9 times the other side's N_Bs and N_Cr), no time-outs: what is late may still go. Only
// when the other side's own time is over is the transfer given up. By Br the next "wait" goes in time.
struct Timers {
    std::int64_t as = 1000, ar = 1000, bs = 1000, br = 900, cs = 900, cr = 1000;
};

struct Config {
    bool fd = false;
    std::uint8_t frame_bytes = 8;      // of the frames sent: 8, with fd up to 64
    std::optional<Byte> pad = 0xCC;    // what fills frames up (CC: fewest stuff bits); none: frames as short as may be
    std::optional<Byte> extension{};   // extended addressing: the address byte
    std::uint8_t block_size = 0;       // asked of the other side: frames until the next flow control, 0: all
    std::uint8_t st_min = 0;           // asked of the other side, as coded on the wire
    int most_waits = 10;               // "wait" one after another: more ends a transfer (N_WFTmax)
    std::uint32_t largest = 1u << 20;  // longest message that is taken; a longer one is answered with overflow
    Timers timers{};
};

// One frame's payload.
struct Payload {
    std::array<Byte, 64> data;
    std::uint8_t size = 0;
    ByteView bytes() const { return ByteView(data).first(size); }
};

// The standard's result codes.
enum class Outcome {
    ok,
    timeout_a,        // the bus did not take a frame
    timeout_bs,       // no flow control came
    timeout_cr,       // the next frame did not come
    wrong_sn,         // a frame is missing, doubled or out of order
    invalid_fs,       // a flow control of no known kind
    unexpected_pdu,   // a new message began before the old one was whole
    wait_overrun,     // more "wait" than is borne
    buffer_overflow,  // too long for the receiver
    error,            // anything else: this side was too slow
};
std::string_view name(Outcome o);   // "N_TIMEOUT_Bs"
std::string_view words(Outcome o);  // one clause for people

// The pause that an STmin byte asks for; reserved values ask for the longest, 127 ms.
std::chrono::microseconds separation(std::uint8_t st_min);

constexpr SteadyTime never = SteadyTime::max();

// --- sending ------------------------------------------------------------------------------------------------------

class Sender {
public:
    explicit Sender(const Config& config) : c_(config) {}

    // Begins a message; one that was under way is given up. Empty messages and those above 4 GiB end with `error`.
    void start(Bytes message, SteadyTime now);

    // The next frame, if one may go now. It is the caller's to put it on the bus and to call sent() when the bus has
    // it.
    bool next(Payload& out, SteadyTime now);
    void sent(SteadyTime now);
    void flow_control(ByteView pci, SteadyTime now);  // from its first byte, without the address byte
    void tick(SteadyTime now);

    SteadyTime deadline() const;  // when next() or tick() has something to do by time alone
    bool idle() const { return state_ == State::idle; }
    std::optional<Outcome> outcome();  // how the last message ended, told once

private:
    enum class State { idle, begin, begin_out, flow, go, go_out };
    void end(Outcome o);
    void fill(Payload& out, std::size_t used) const;

    Config c_;
    State state_ = State::idle;
    Bytes message_;
    std::size_t at_ = 0;
    std::uint8_t sn_ = 0;
    std::uint32_t block_left_ = 0;  // consecutive frames until the next flow control; 0: no more flow control
    bool bounded_ = false;
    int waits_ = 0;
    std::chrono::nanoseconds gap_{};
    SteadyTime not_before_{}, until_ = never;
    std::optional<Outcome> outcome_;
};

// --- receiving ----------------------------------------------------------------------------------------------------

struct Event {
    enum What { begins, message, failed } what = failed;
    Bytes data{};                      // message
    Outcome outcome = Outcome::error;  // failed
};

class Receiver {
public:
    explicit Receiver(const Config& config) : c_(config) {}

    void take(ByteView pci, SteadyTime now);  // a frame from its first byte, without the address byte
    bool next(Payload& out, SteadyTime now);  // a flow control that is due
    void sent(SteadyTime now);
    void tick(SteadyTime now);
    SteadyTime deadline() const { return state_ == State::flow ? not_before_ : until_; }
    std::optional<Event> event();

    // While held, flow controls say "wait", at most most_waits times; then the transfer ends.
    void hold(bool on, SteadyTime now);

private:
    enum class State { idle, flow, flow_out, data };
    void single(ByteView pci);
    void first(ByteView pci, SteadyTime now);
    void consecutive(ByteView pci, SteadyTime now);
    void fail(Outcome o);
    void want_flow(SteadyTime now);
    std::size_t header() const { return c_.extension ? 1u : 0u; }

    Config c_;
    State state_ = State::idle;
    Bytes message_;
    std::size_t length_ = 0;
    std::size_t frame_ = 8;  // size of the first frame: all but the last have it
    std::uint8_t sn_ = 0;
    std::uint8_t block_left_ = 0;
    bool held_ = false, overflow_ = false;
    int waits_ = 0;
    SteadyTime not_before_{}, until_ = never;
    std::deque<Event> events_;
};

// --- both ---------------------------------------------------------------------------------------------------------

// One pair of identifiers, in both directions.
class Channel {
public:
    explicit Channel(const Config& config) : c_(config), sender(config), receiver(config) {}

    void take(ByteView frame, SteadyTime now);
    bool next(Payload& out, SteadyTime now);
    void sent(SteadyTime now);  // of the frame that next() gave last
    void tick(SteadyTime now) {
        sender.tick(now);
        receiver.tick(now);
    }
    SteadyTime deadline() const { return std::min(sender.deadline(), receiver.deadline()); }

private:
    Config c_;
    bool last_was_flow_ = false;

public:
    Sender sender;
    Receiver receiver;
};

}  // namespace fettle::link::isotp
