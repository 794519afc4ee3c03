#include "fettle/link/exchange.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/link/uds.h"

namespace fettle::link {

namespace {
SteadyTime after(SteadyTime now, std::int64_t ms) {
    return now + std::chrono::milliseconds(ms);
}
Bytes sign_of_life() {
    return uds::ReadRequest::tester_present().bytes();
}
bool quiet(const Bytes& request) {
    return request.size() == 2 && request[0] == 0x3E && request[1] == 0x80;
}
bool clears(const Bytes& request) {
    return !request.empty() && request[0] == 0x14;
}
}  // namespace

std::string_view words(Said s) {
    switch (s) {
        case Said::value: return "answered";
        case Said::refused: return "answered no";
        case Said::no_answer: return "did not answer";
        case Said::nonsense: return "answered in a form that cannot be believed";
    }
    return "";
}
std::string_view code(Said s) {
    switch (s) {
        case Said::value: return "value";
        case Said::refused: return "refused";
        case Said::no_answer: return "no-answer";
        case Said::nonsense: return "nonsense";
    }
    return "";
}

Reply no_answer(std::string why) {
    return {Said::no_answer, {}, 0, std::move(why), false};
}
Reply nonsense(std::string why) {
    return {Said::nonsense, {}, 0, std::move(why), false};
}
Reply refused(std::uint8_t nrc) {
    return {
        Said::refused, {}, nrc, fmt::format("{} (0x{:02X}): {}", uds::nrc_name(nrc), nrc, uds::nrc_words(nrc)), false};
}

Exchange::Exchange(std::uint16_t box, Bytes request, const Timing& timing, bool owes, SteadyTime now)
    : timing_(timing),
      box_(box),
      request_(std::move(request)),
      clears_(clears(request_)),
      owed_(owes),
      fence_(owes || clears_),
      until_(now),
      end_(after(now, timing.longest_ms)) {}

std::optional<Bytes> Exchange::due(SteadyTime now) {
    if (state_ == State::pausing && now >= until_) state_ = State::to_send;
    if (state_ != State::to_send) return std::nullopt;
    state_ = State::delivering;
    delivered_ = false;
    pending_ = 0;
    until_ = after(now, timing_.ack_ms);
    return fence_ ? sign_of_life() : request_;
}

void Exchange::finish(Reply r, bool owes) {
    state_ = State::done;
    owes_ = owes;
    reply_ = std::move(r);
    reply_.sent = sent_;
}

// Nothing that could be used came. An answer to something else is no silence: the box talks, but not to this.
void Exchange::silent(std::string why) {
    if (fence_)
        finish(no_answer(owed_ ? "it still owes an earlier answer and shows no sign of life"
                               : "it shows no sign of life, so it was not asked"),
               true);
    else if (!passed_over_.empty())
        finish(nonsense(passed_over_), true);
    else
        finish(no_answer(std::move(why)), true);
}

// An answer that belongs to what is asked.
void Exchange::settled(Reply r, SteadyTime now) {
    if (fence_) {
        if (r.said != Said::value && r.said != Said::refused) return finish(std::move(r), true);
        fence_ = false;
        passed_over_.clear();
        state_ = State::to_send;
        until_ = now;
        return;
    }
    if (r.said == Said::refused && r.nrc == uds::busy_nrc && busy_ < timing_.most_busy && !clears_) {
        ++busy_;
        state_ = State::pausing;
        until_ = after(now, timing_.busy_pause_ms);
        return;
    }
    finish(std::move(r), false);
}

void Exchange::take_message(const Bytes& data, SteadyTime now) {
    const Bytes asked = fence_ ? sign_of_life() : request_;
    uds::Seen seen = uds::look_at(ByteView(asked), data);
    // An answer to a clearing names nothing of it: it is this one's only behind the acknowledgement of this one.
    if (clears_ && !delivered_) seen.kind = uds::Kind::foreign;
    switch (seen.kind) {
        case uds::Kind::positive: return settled({Said::value, data, 0, {}}, now);
        case uds::Kind::negative: return settled(refused(seen.nrc), now);
        case uds::Kind::pending:
            delivered_ = true;
            state_ = State::answering;
            if (++pending_ > timing_.most_pending)
                return silent(fmt::format("it said {} times that the answer follows, and none did", pending_));
            until_ = after(now, timing_.p2star_ms);
            return;
        case uds::Kind::foreign: {
            const auto begin = ByteView(data).first(std::min<std::size_t>(data.size(), 16));
            passed_over_ = fmt::format("it sent {}{} to the request {}", hex(begin),
                                       begin.size() < data.size() ? "…" : "", hex(asked));
            return;
        }
    }
}

void Exchange::hear(Heard h, SteadyTime now) {
    if (done()) return;
    const bool open = state_ == State::delivering || state_ == State::answering;
    switch (h.what) {
        case Heard::cancelled: return finish(no_answer("it was broken off"), open);
        case Heard::broken: {
            fence_ = false;
            return silent(std::move(h.why));
        }
        case Heard::spoilt: return finish(nonsense(std::move(h.why)), open);
        default: break;
    }
    if (!open) return;
    if (h.what == Heard::not_delivered && (h.box == box_ || h.box == 0))
        return finish(no_answer(std::move(h.why)), false);
    const bool untold = h.box == 0 && (h.what == Heard::begins || h.what == Heard::damaged);
    if (h.box != box_ && !untold) return;  // another box's
    switch (h.what) {
        case Heard::delivered:
            if (delivered_) return;
            delivered_ = true;
            if (!fence_ && quiet(request_)) return finish({Said::value, {}, 0, {}}, false);
            state_ = State::answering;
            until_ = after(now, timing_.p2_ms);
            return;
        case Heard::begins: until_ = std::max(until_, after(now, timing_.transfer_ms)); return;
        case Heard::broke_off: return finish(no_answer(std::move(h.why)), true);
        case Heard::damaged: return settled(nonsense(std::move(h.why)), now);
        case Heard::message: return take_message(h.data, now);
        default: return;
    }
}

void Exchange::tick(SteadyTime now) {
    if (done() || now < deadline() || state_ == State::to_send) return;
    if (state_ == State::pausing) {
        if (now >= end_) finish(refused(uds::busy_nrc), false);
        return;
    }
    if (!delivered_) return silent("the request was not acknowledged in time");
    silent(pending_ > 0 ? fmt::format("it said {} times that the answer follows, and none did", pending_)
                        : std::string("no answer in time"));
}

}  // namespace fettle::link
