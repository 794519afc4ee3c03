#include "fettle/link/isotp.h"

#include <algorithm>
#include <cstring>

#include "fettle/link/can_frame.h"

namespace fettle::link::isotp {

namespace {

constexpr std::size_t largest_short = 4095;  // what the twelve bits of a first frame can say

SteadyTime after(SteadyTime now, std::int64_t ms) {
    return now + std::chrono::milliseconds(ms);
}

// Brings a payload of `used` bytes to a size that a frame can have.
void fill_up(const Config& c, Payload& out, std::size_t used) {
    std::size_t size = c.pad ? std::max<std::size_t>(used, 8) : used;
    size = frame_size_for(size);  // above 8 bytes only certain sizes exist: these are always filled
    std::memset(out.data.data() + used, c.pad.value_or(0xCC), size - used);
    out.size = static_cast<std::uint8_t>(size);
}

}  // namespace

std::string_view name(Outcome o) {
    constexpr std::string_view names[] = {"N_OK",         "N_TIMEOUT_A", "N_TIMEOUT_Bs", "N_TIMEOUT_Cr",   "N_WRONG_SN",
                                          "N_INVALID_FS", "N_UNEXP_PDU", "N_WFT_OVRN",   "N_BUFFER_OVFLW", "N_ERROR"};
    return names[static_cast<std::size_t>(o)];
}

std::string_view words(Outcome o) {
    switch (o) {
        case Outcome::ok: return "sent whole";
        case Outcome::timeout_a: return "the bus did not take a frame in time";
        case Outcome::timeout_bs: return "no flow control came in time";
        case Outcome::timeout_cr: return "the answer broke off: the next frame did not come in time";
        case Outcome::wrong_sn: return "a frame of the answer is missing or out of order";
        case Outcome::invalid_fs: return "it sent a flow control of no known kind";
        case Outcome::unexpected_pdu: return "a new message began before the old one was whole";
        case Outcome::wait_overrun: return "it said \"wait\" too often";
        case Outcome::buffer_overflow: return "the message is too long for its receiver";
        case Outcome::error: return "this side was too slow to send its next frame";
    }
    return "";
}

std::chrono::microseconds separation(std::uint8_t st_min) {
    if (st_min <= 0x7F) return std::chrono::milliseconds(st_min);
    if (st_min >= 0xF1 && st_min <= 0xF9) return std::chrono::microseconds(100 * (st_min - 0xF0));
    return std::chrono::milliseconds(127);
}

// --- sending -------------------------------------------------------------------------------------------------------

void Sender::start(Bytes message, SteadyTime now) {
    message_ = std::move(message);
    at_ = 0;
    sn_ = 0;
    waits_ = 0;
    outcome_.reset();
    if (message_.empty() || message_.size() > 0xFFFFFFFFu) return end(Outcome::error);
    state_ = State::begin;
    not_before_ = now;
    until_ = after(now, c_.timers.as);
}

void Sender::end(Outcome o) {
    state_ = State::idle;
    until_ = never;
    outcome_ = o;
}

std::optional<Outcome> Sender::outcome() {
    auto o = outcome_;
    outcome_.reset();
    return o;
}

bool Sender::next(Payload& out, SteadyTime now) {
    if ((state_ != State::begin && state_ != State::go) || now < not_before_) return false;
    std::size_t n = 0;
    Byte* const b = out.data.data();
    if (c_.extension) b[n++] = *c_.extension;
    const std::size_t left = message_.size() - at_;
    const std::size_t room = c_.frame_bytes - n;
    if (state_ == State::go) {
        b[n++] = static_cast<Byte>(0x20 | sn_);
        const std::size_t take = std::min(left, room - 1);
        std::memcpy(b + n, message_.data() + at_, take);
        at_ += take;
        sn_ = (sn_ + 1) & 0x0F;
        fill_up(c_, out, n + take);
        state_ = State::go_out;
    } else if (left <= 8 - n - 1) {
        b[n++] = static_cast<Byte>(left);
        std::memcpy(b + n, message_.data(), left);
        at_ = left;
        fill_up(c_, out, n + left);
        state_ = State::begin_out;
    } else if (c_.frame_bytes > 8 && left <= room - 2) {
        b[n++] = 0x00;
        b[n++] = static_cast<Byte>(left);
        std::memcpy(b + n, message_.data(), left);
        at_ = left;
        fill_up(c_, out, n + left);
        state_ = State::begin_out;
    } else {
        if (left <= largest_short) {
            b[n++] = static_cast<Byte>(0x10 | left >> 8);
            b[n++] = static_cast<Byte>(left);
        } else {
            b[n++] = 0x10;
            b[n++] = 0x00;
            for (int shift = 24; shift >= 0; shift -= 8) b[n++] = static_cast<Byte>(left >> shift);
        }
        const std::size_t take = c_.frame_bytes - n;
        std::memcpy(b + n, message_.data(), take);
        at_ = take;
        sn_ = 1;
        out.size = c_.frame_bytes;
        state_ = State::begin_out;
    }
    until_ = after(now, c_.timers.as);
    return true;
}

void Sender::sent(SteadyTime now) {
    if (state_ != State::begin_out && state_ != State::go_out) return;
    if (at_ == message_.size()) return end(Outcome::ok);
    if (state_ == State::begin_out || (bounded_ && --block_left_ == 0)) {
        state_ = State::flow;
        until_ = after(now, c_.timers.bs);
        return;
    }
    state_ = State::go;
    not_before_ = now + gap_;
    until_ = not_before_ + std::chrono::milliseconds(c_.timers.cr);  // then the other side has given it up
}

void Sender::flow_control(ByteView pci, SteadyTime now) {
    if (state_ != State::flow || pci.size() < 3) return;
    switch (pci[0] & 0x0F) {
        case 0:
            block_left_ = pci[1];
            bounded_ = pci[1] != 0;
            gap_ = separation(pci[2]);
            waits_ = 0;
            state_ = State::go;
            not_before_ = now;
            until_ = after(now, c_.timers.cr);
            return;
        case 1:  // its block size and pause mean nothing
            if (++waits_ > c_.most_waits) return end(Outcome::wait_overrun);
            until_ = after(now, c_.timers.bs);
            return;
        case 2: return end(Outcome::buffer_overflow);
        default: return end(Outcome::invalid_fs);
    }
}

SteadyTime Sender::deadline() const {
    return state_ == State::begin || state_ == State::go ? not_before_ : until_;
}

void Sender::tick(SteadyTime now) {
    if (now < until_) return;
    switch (state_) {
        case State::idle: return;
        case State::begin:
        case State::begin_out:
        case State::go_out: return end(Outcome::timeout_a);
        case State::flow: return end(Outcome::timeout_bs);
        case State::go: return end(Outcome::error);
    }
}

// --- receiving -----------------------------------------------------------------------------------------------------

std::optional<Event> Receiver::event() {
    if (events_.empty()) return std::nullopt;
    Event e = std::move(events_.front());
    events_.pop_front();
    return e;
}

void Receiver::fail(Outcome o) {
    state_ = State::idle;
    until_ = never;
    message_ = {};
    events_.push_back({Event::failed, {}, o});
}

void Receiver::take(ByteView pci, SteadyTime now) {
    if (pci.empty()) return;
    switch (pci[0] >> 4) {
        case 0: return single(pci);
        case 1: return first(pci, now);
        case 2: return consecutive(pci, now);
        default: return;  // flow controls are the sender's; the rest is reserved
    }
}

// Frames whose length is wrong are passed over, as the standard has it: they end nothing.
void Receiver::single(ByteView pci) {
    std::size_t length = pci[0] & 0x0F, at = 1;
    const bool long_frame = pci.size() + header() > 8;
    if (long_frame) {
        if (length != 0 || pci.size() < 2) return;
        length = pci[1];
        at = 2;
        if (length <= 7 - header()) return;  // would have fitted the short form
    }
    if (length == 0 || length + at > pci.size() || (!long_frame && length > 7 - header())) return;
    if (state_ != State::idle) fail(Outcome::unexpected_pdu);
    events_.push_back(
        {Event::message,
         Bytes(pci.begin() + static_cast<std::ptrdiff_t>(at), pci.begin() + static_cast<std::ptrdiff_t>(at + length)),
         Outcome::ok});
}

void Receiver::first(ByteView pci, SteadyTime now) {
    const std::size_t frame = pci.size() + header();
    if (frame < 8) return;
    std::size_t length = static_cast<std::size_t>(pci[0] & 0x0F) << 8 | pci[1], at = 2;
    if (length == 0) {
        length = load_be32(pci, 2);
        at = 6;
        if (length <= largest_short) return;
    } else if (length <= frame - header() - (frame > 8 ? 2 : 1)) {
        return;  // a single frame would have held it
    }
    if (state_ != State::idle) fail(Outcome::unexpected_pdu);
    frame_ = frame;
    length_ = length;
    sn_ = 1;
    waits_ = 0;
    overflow_ = length > c_.largest;
    message_.clear();
    if (!overflow_) {
        message_.reserve(std::min<std::size_t>(length, 4096));  // the rest as it comes: a length is only a claim
        append(message_, pci.subspan(at));
        events_.push_back({Event::begins, {}, Outcome::ok});
    }
    want_flow(now);
}

void Receiver::want_flow(SteadyTime now) {
    state_ = State::flow;
    not_before_ = now;
    until_ = after(now, c_.timers.bs);  // then the other side has given it up
}

void Receiver::consecutive(ByteView pci, SteadyTime now) {
    if (state_ != State::data) return;
    const std::size_t left = length_ - message_.size();
    const std::size_t room = pci.size() - 1;
    if (pci.size() + header() < frame_ && room < left) return;  // shorter than the first frame, and not the last
    if ((pci[0] & 0x0F) != sn_) return fail(Outcome::wrong_sn);
    sn_ = (sn_ + 1) & 0x0F;
    const std::size_t take = std::min(left, room);
    message_.insert(message_.end(), pci.begin() + 1, pci.begin() + 1 + static_cast<std::ptrdiff_t>(take));
    if (message_.size() == length_) {
        state_ = State::idle;
        until_ = never;
        events_.push_back({Event::message, std::move(message_), Outcome::ok});
        message_ = {};
        return;
    }
    if (c_.block_size != 0 && --block_left_ == 0) return want_flow(now);
    until_ = after(now, c_.timers.cr);
}

bool Receiver::next(Payload& out, SteadyTime now) {
    if (state_ != State::flow || now < not_before_) return false;
    std::size_t n = 0;
    if (c_.extension) out.data[n++] = *c_.extension;
    const Byte status = overflow_ ? 2 : held_ ? 1 : 0;
    out.data[n++] = 0x30 | status;
    out.data[n++] = status == 0 ? c_.block_size : Byte{0};
    out.data[n++] = status == 0 ? c_.st_min : Byte{0};
    fill_up(c_, out, n);
    state_ = State::flow_out;
    until_ = after(now, c_.timers.ar);
    return true;
}

void Receiver::sent(SteadyTime now) {
    if (state_ != State::flow_out) return;
    if (overflow_) return fail(Outcome::buffer_overflow);
    if (held_) {
        if (++waits_ > c_.most_waits) return fail(Outcome::wait_overrun);
        state_ = State::flow;
        not_before_ = after(now, c_.timers.br / 2);  // well before the other side's N_Bs ends
        until_ = after(now, c_.timers.bs);
        return;
    }
    state_ = State::data;
    waits_ = 0;
    block_left_ = c_.block_size;
    until_ = after(now, c_.timers.cr);
}

void Receiver::hold(bool on, SteadyTime now) {
    held_ = on;
    if (!on && state_ == State::flow) not_before_ = now;
}

void Receiver::tick(SteadyTime now) {
    if (now < until_) return;
    switch (state_) {
        case State::idle: return;
        case State::flow: return fail(Outcome::error);
        case State::flow_out: return fail(Outcome::timeout_a);
        case State::data: return fail(Outcome::timeout_cr);
    }
}

// --- both ----------------------------------------------------------------------------------------------------------

void Channel::take(ByteView frame, SteadyTime now) {
    if (c_.extension) {
        if (frame.empty() || frame[0] != *c_.extension) return;
        frame = frame.subspan(1);
    }
    if (frame.empty()) return;
    if (frame[0] >> 4 == 3)
        sender.flow_control(frame, now);
    else
        receiver.take(frame, now);
}

bool Channel::next(Payload& out, SteadyTime now) {
    last_was_flow_ = receiver.next(out, now);  // the other side waits for it
    return last_was_flow_ || sender.next(out, now);
}

void Channel::sent(SteadyTime now) {
    if (last_was_flow_)
        receiver.sent(now);
    else
        sender.sent(now);
}

}  // namespace fettle::link::isotp
