#include "fettle/link/client.h"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "fettle/link/exchange.h"
#include "fettle/link/line.h"
#include "fettle/link/loop.h"
#include "fettle/link/open_line.h"

namespace fettle::link {

namespace {
SteadyTime now_is() {
    return std::chrono::steady_clock::now();
}
}  // namespace

struct Connection::State {
    std::shared_ptr<Loop> loop;  // destroyed last: lines hold sockets of it
    std::shared_ptr<Line> line;
    Options options;
    Timing timing;
    Cancel cancel;
    BoxAddress at{};
    std::set<std::uint16_t> out_of_step{};  // boxes that still owe an answer
    int reconnected = 0;
    ~State() {
        if (line) line->close();
    }

    Reply ask(std::uint16_t box, const Bytes& message);
    Reply ask_again(std::uint16_t box, const Bytes& message, Reply first);
    bool step(Exchange& x, SteadyTime now);

    // Why `message` may not or cannot go out; empty when it may.
    std::string held(std::uint16_t box, ByteView message) const {
        if (!line->closed().empty()) return line->closed();
        if (cancel.cancelled()) return "it was broken off";
        if (!line->reaches(box)) return fmt::format("box 0x{:04X} is not reached by this address", box);
        return held_back(options.phase ? options.phase() : Phase::no_run, message, line->loopback());
    }
};

std::shared_ptr<Loop> make_loop() {
    return std::make_shared<Loop>();
}

Connection::Connection(std::unique_ptr<State> state) : state_(std::move(state)) {}
Connection::Connection(Connection&&) noexcept = default;
Connection& Connection::operator=(Connection&&) noexcept = default;
Connection::~Connection() = default;

std::uint16_t Connection::entity() const {
    return state_->line->entity();
}
bool Connection::loopback() const {
    return state_->line->loopback();
}

Result<Connection> Connection::open(const Endpoint& at, const Options& options, const Timing& timing,
                                    const Cancel& cancel) {
    return open_to(BoxAddress{at, 0, std::nullopt}, options, timing, cancel);
}

Result<Connection> Connection::open_to(const BoxAddress& at, const Options& options, const Timing& timing,
                                       const Cancel& cancel) {
    auto loop = options.loop ? options.loop : make_loop();
    auto line = open_line(at, *loop, options, timing, cancel);
    if (!line) return pass(line);
    Timing t = timing;
    if (at.can) t.ack_ms = std::max(t.ack_ms, t.transfer_ms);  // ISO-TP's own timers say when a request did not get out
    return Connection(std::unique_ptr<State>(new State{std::move(loop), std::move(*line), options, t, cancel, at}));
}

// --- asking --------------------------------------------------------------------------------------------------------

// One exchange from its request to its end. Nothing here waits longer than a cancel may go unnoticed.
Reply Connection::State::ask(std::uint16_t box, const Bytes& message) {
    constexpr auto slice = std::chrono::milliseconds(50);
    if (auto why = held(box, message); !why.empty()) return no_answer(std::move(why));
    Exchange x(box, message, timing, out_of_step.erase(box) > 0, now_is());
    const SteadyTime began = now_is();
    SteadyTime told = began;
    while (!x.done()) {
        const SteadyTime now = now_is();
        if (options.waits && x.pending() > 0 && now - told >= std::chrono::seconds(1)) {
            told = now;
            options.waits(fmt::format("box 0x{:04X} says that its answer follows; {} s so far", box,
                                      std::chrono::duration_cast<std::chrono::seconds>(now - began).count()));
        }
        if (!step(x, now)) loop->turn(std::min(x.deadline(), now + slice));
    }
    Reply r = x.take();
    // What was read before a clearing must not come out as read behind it, should it come twice.
    if (x.owes() || (r.sent && uds::only_clears(message))) out_of_step.insert(box);
    return r;
}

// Moves on what is due. True: something happened.
bool Connection::State::step(Exchange& x, SteadyTime now) {
    bool moved = false;
    if (cancel.cancelled()) {
        if (line->sends()) line->breaks(Heard::broken, "it was broken off");  // part of a message may be out
        x.hear({Heard::cancelled, 0, {}, {}}, now);
    }
    if (x.idle()) loop->drain();  // what lies in the socket is older than what goes out next
    while (auto h = line->take()) {
        x.hear(std::move(*h), now);
        moved = true;
    }
    if (!x.done() && line->sends() && now >= x.deadline())
        line->breaks(Heard::broken, "the other side takes no more bytes");
    x.tick(now);
    if (const auto message = x.due(now)) {
        if (auto why = held(x.box(), *message); !why.empty())  // the run may have begun in the meantime
            x.hear({Heard::not_delivered, x.box(), {}, std::move(why)}, now);
        else {
            line->send(x.box(), *message);
            x.went_out();
        }
        moved = true;
    }
    return moved || x.done();
}

// One more try, on a connection of its own: the other side had closed or reset the first in the middle of a reading.
Reply Connection::State::ask_again(std::uint16_t box, const Bytes& message, Reply first) {
    if (!line->was_lost() || cancel.cancelled() || reconnected >= options.reconnects) return first;
    if (options.phase && options.phase() == Phase::run_open) return first;
    ++reconnected;
    auto anew = open_line(at, *loop, options, timing, cancel);
    if (!anew) {
        first.why += "; once more: " + anew.error().problem;
        return first;
    }
    line->close();
    line = std::move(*anew);
    out_of_step.clear();
    return ask(box, message);
}

int Connection::reconnected() const {
    return state_->reconnected;
}

Reply Connection::ask(std::uint16_t box, const uds::ReadRequest& request) {
    Reply r = state_->ask(box, request.bytes());
    if (r.said != Said::no_answer) return r;
    return state_->ask_again(box, request.bytes(), std::move(r));
}

Reply Connection::clear(std::uint16_t box, const uds::ClearRequest& request) {
    return state_->ask(box, request.bytes());
}

Reply Connection::read(std::uint16_t box, std::uint16_t did) {
    Reply r = ask(box, uds::ReadRequest::identifier(did));
    if (r.said != Said::value) return r;
    auto data = uds::identifier_data(did, r.data);
    if (!data) return nonsense(data.error().problem);
    r.data = std::move(*data);
    return r;
}

Connection::Codes Connection::read_codes(std::uint16_t box, std::uint8_t status_mask) {
    Codes out{ask(box, uds::ReadRequest::codes(status_mask)), {}};
    if (out.reply.said != Said::value) return out;
    auto list = uds::parse_codes(out.reply.data);
    if (!list) {
        out.reply = nonsense(list.error().problem);
        return out;
    }
    out.list = std::move(*list);
    return out;
}

Reply Connection::read_snapshot(std::uint16_t box, std::uint32_t code) {
    return ask(box, uds::ReadRequest::snapshot(code));
}
Reply Connection::read_extended(std::uint16_t box, std::uint32_t code) {
    return ask(box, uds::ReadRequest::extended_data(code));
}

}  // namespace fettle::link
