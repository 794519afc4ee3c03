#include "fettle/link/client.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>
#include <set>
#include <thread>

#include "fettle/link/wait.h"

namespace fettle::link {

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;

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

namespace {

// One incoming thing on a connection.
struct Incoming {
    enum What { message, bad, late, cancelled, closed } what = late;
    doip::Message body{};
    doip::Fault fault{};
    std::string why;  // closed
};

Reply no_answer(std::string why) {
    return {Said::no_answer, {}, 0, std::move(why)};
}
Reply nonsense(std::string why) {
    return {Said::nonsense, {}, 0, std::move(why)};
}
Reply refused(std::uint8_t nrc) {
    return {Said::refused, {}, nrc, fmt::format("{} (0x{:02X}): {}", uds::nrc_name(nrc), nrc, uds::nrc_words(nrc))};
}

}  // namespace

struct Connection::State {
    asio::io_context context;
    tcp::socket socket{context};
    doip::Splitter splitter;
    Options options;
    Timing timing;
    Cancel cancel;
    std::uint16_t entity = 0;
    std::string broken;                   // why nothing more can be asked; empty while the connection stands
    std::set<std::uint16_t> out_of_step;  // boxes that still owe an answer

    void breaks(std::string why) {
        if (broken.empty()) broken = std::move(why);
        error_code ignored;
        socket.close(ignored);
    }

    bool send(const doip::Body& body) {
        const Bytes bytes = doip::encode(body, options.version);
        error_code error;
        bool done = false;
        asio::async_write(socket, asio::buffer(bytes), [&](const error_code& e, std::size_t) {
            error = e;
            done = true;
        });
        const Waited w = wait_for(context, done, in_ms(timing.ack_ms), cancel, [&] { socket.cancel(); });
        if (w == Waited::cancelled) breaks("it was broken off");  // part of a message may be out
        if (w == Waited::late) breaks("the other side takes no more bytes");
        if (w == Waited::done && error) breaks("the connection was lost: " + error.message());
        return broken.empty();
    }

    Incoming receive(SteadyTime until) {
        std::array<Byte, 4096> buffer;
        while (true) {
            if (auto m = splitter.next()) {
                if (*m) return {Incoming::message, std::move(**m), {}, {}};
                return {Incoming::bad, {}, m->error(), {}};
            }
            error_code error;
            std::size_t n = 0;
            bool done = false;
            socket.async_read_some(asio::buffer(buffer), [&](const error_code& e, std::size_t got) {
                error = e;
                n = got;
                done = true;
            });
            const Waited w = wait_for(context, done, until, cancel, [&] { socket.cancel(); });
            if (n > 0) splitter.feed(ByteView(buffer).first(n));  // also what came in while it was being stopped
            if (w == Waited::cancelled) return {Incoming::cancelled, {}, {}, {}};
            if (w == Waited::late && n == 0) return {Incoming::late, {}, {}, {}};
            if (w == Waited::done && error) {
                const std::string why = error == asio::error::eof ? "the other side closed the connection"
                                                                  : "the connection was lost: " + error.message();
                return {Incoming::closed, {}, {}, why};
            }
        }
    }

    // What every wait must do on the side. True: it was dealt with, wait on.
    bool housekeeping(const Incoming& in) {
        if (in.what != Incoming::message || !std::holds_alternative<doip::AliveRequest>(in.body.body)) return false;
        send(doip::AliveResponse{options.tester});
        return true;
    }

    Status activate(const std::string& place);
    Reply ask_once(std::uint16_t box, const uds::ReadRequest& request);
    Reply await_answer(std::uint16_t box, const uds::ReadRequest& request);
    bool back_in_step(std::uint16_t box);
};

Connection::Connection(std::unique_ptr<State> state) : state_(std::move(state)) {}
Connection::Connection(Connection&&) noexcept = default;
Connection& Connection::operator=(Connection&&) noexcept = default;
Connection::~Connection() = default;
std::uint16_t Connection::entity() const {
    return state_->entity;
}

// --- opening -------------------------------------------------------------------------------------------------------

Status Connection::State::activate(const std::string& place) {
    const auto nonsense_error = [&](const std::string& what) {
        return outside_error("link-nonsense", place, what,
                             "check that this is the vehicle's diagnostic address, and its port");
    };
    const auto gone = [&](const std::string& what) {
        return outside_error("link-not-reachable", place, what,
                             "check that ignition is on and no other tester is connected, then try again");
    };
    if (!send(doip::RoutingRequest{options.tester, options.activation, std::nullopt})) return gone(broken);
    const SteadyTime until = in_ms(timing.control_ms);
    while (true) {
        const Incoming in = receive(until);
        switch (in.what) {
            case Incoming::late:
                return gone("it took the connection, but did not answer the routing activation in time");
            case Incoming::closed: return gone(in.why);
            case Incoming::cancelled: return outside_error("link-cancelled", place, "it was broken off", "ask again");
            case Incoming::bad:
                if (in.fault.close) return nonsense_error("what came back is not DoIP: " + in.fault.words);
                continue;
            case Incoming::message: break;
        }
        if (housekeeping(in)) continue;
        if (const auto* nack = std::get_if<doip::HeaderNack>(&in.body.body))
            return nonsense_error(
                fmt::format("it refused the message: {} (0x{:02X})", doip::header_nack_words(nack->code), nack->code));
        const auto* r = std::get_if<doip::RoutingResponse>(&in.body.body);
        if (!r || r->tester != options.tester) continue;
        if (r->code == 0x10) {
            entity = r->entity;
            return {};
        }
        return outside_error("link-refused", place,
                             fmt::format("{} (activation code 0x{:02X})", doip::activation_words(r->code), r->code),
                             r->code == 0x11 ? "confirm at the vehicle as its maker describes, then try again"
                                             : "end other testers' connections, or leave it to the maker's own access");
    }
}

Result<Connection> Connection::open(const Endpoint& at, const Options& options, const Timing& timing,
                                    const Cancel& cancel) {
    const auto address = numeric_address(at.host);
    if (!address)
        return usage_error("bad-address", at.host, "it is not a numeric address",
                           "give the address as numbers, e.g. 127.0.0.1");
    auto state = std::make_unique<State>();
    state->options = options;
    state->timing = timing;
    state->cancel = cancel;
    error_code error;
    bool done = false;
    state->socket.async_connect(tcp::endpoint(*address, at.port), [&](const error_code& e) {
        error = e;
        done = true;
    });
    const Waited w = wait_for(state->context, done, in_ms(timing.connect_ms), cancel, [&] {
        error_code ignored;
        state->socket.close(ignored);
    });
    if (w == Waited::cancelled) return outside_error("link-cancelled", text_of(at), "it was broken off", "ask again");
    if (w == Waited::late || error)
        return outside_error(
            "link-not-reachable", text_of(at),
            w == Waited::late ? std::string("nobody took the connection in time") : "no connection: " + error.message(),
            "check cable, address and ignition; `link find` asks who is there");
    state->socket.set_option(tcp::no_delay(true), error);
    if (auto ok = state->activate(text_of(at)); !ok) return pass(ok);
    return Connection(std::move(state));
}

// --- asking --------------------------------------------------------------------------------------------------------

// Waits for what follows a request that was sent: acknowledgement, "pending" any bounded number of times, the answer.
Reply Connection::State::await_answer(std::uint16_t box, const uds::ReadRequest& request) {
    SteadyTime until = in_ms(timing.ack_ms);
    bool acknowledged = false;
    int pending = 0;
    std::string passed_over;  // an answer of this box that is not to this request
    const auto gone = [&](const std::string& why) {
        out_of_step.insert(box);
        return passed_over.empty() ? no_answer(why) : nonsense(passed_over);
    };
    while (true) {
        if (std::chrono::steady_clock::now() >= until) {  // also when the box keeps us busy with something else
            if (!acknowledged) return gone("the request was not acknowledged in time");
            return gone(pending > 0 ? fmt::format("it said {} times that the answer follows, and none did", pending)
                                    : std::string("no answer in time"));
        }
        const Incoming in = receive(until);
        if (in.what == Incoming::late) continue;
        if (in.what == Incoming::cancelled) return gone("it was broken off");
        if (in.what == Incoming::closed) {
            breaks(in.why);
            return gone(broken);
        }
        if (in.what == Incoming::bad) {
            if (!in.fault.close) continue;
            breaks("what came back is not DoIP: " + in.fault.words);
            return nonsense(broken);
        }
        if (housekeeping(in)) {
            if (!broken.empty()) return gone(broken);
            continue;
        }
        if (const auto* nack = std::get_if<doip::HeaderNack>(&in.body.body))
            return gone(fmt::format("not delivered: {} (header code 0x{:02X})", doip::header_nack_words(nack->code),
                                    nack->code));
        if (const auto* nack = std::get_if<doip::DiagnosticNack>(&in.body.body)) {
            if (nack->target != options.tester) continue;
            return no_answer(
                fmt::format("not delivered: {} (code 0x{:02X})", doip::diagnostic_nack_words(nack->code), nack->code));
        }
        if (const auto* ack = std::get_if<doip::DiagnosticAck>(&in.body.body)) {
            if (ack->source != box || ack->target != options.tester || acknowledged) continue;
            acknowledged = true;
            if (request.quiet()) return {Said::value, {}, 0, {}};
            until = in_ms(timing.p2_ms);
            continue;
        }
        const auto* message = std::get_if<doip::Diagnostic>(&in.body.body);
        if (!message || message->source != box || message->target != options.tester) continue;
        const uds::Seen seen = uds::look_at(request, message->data);
        switch (seen.kind) {
            case uds::Kind::positive: return {Said::value, message->data, 0, {}};
            case uds::Kind::negative: return refused(seen.nrc);
            case uds::Kind::pending:
                acknowledged = true;
                if (++pending > timing.most_pending)
                    return gone(fmt::format("it said {} times that the answer follows, and none did", pending));
                until = in_ms(timing.p2star_ms);
                break;
            case uds::Kind::foreign:
                passed_over =
                    fmt::format("it sent {} to the request {}",
                                hex(ByteView(message->data).first(std::min<std::size_t>(message->data.size(), 16))),
                                hex(request.bytes()));
                break;
        }
    }
}

// After a request that was not answered, its answer may still come, and a late "no" to the old request looks like a
// "no" to the next. So the box is first asked for a sign of life: whatever comes before that answer is old.
bool Connection::State::back_in_step(std::uint16_t box) {
    if (!out_of_step.contains(box)) return true;
    out_of_step.erase(box);
    const auto fence = uds::ReadRequest::tester_present();
    if (!send(doip::Diagnostic{options.tester, box, fence.bytes()})) return false;
    const Reply r = await_answer(box, fence);
    if (r.said == Said::value || r.said == Said::refused) return true;
    out_of_step.insert(box);
    return false;
}

Reply Connection::State::ask_once(std::uint16_t box, const uds::ReadRequest& request) {
    if (!broken.empty()) return no_answer(broken);
    if (cancel.cancelled()) return no_answer("it was broken off");
    if (!back_in_step(box))
        return no_answer(broken.empty() ? "it still owes an earlier answer and shows no sign of life" : broken);
    if (!send(doip::Diagnostic{options.tester, box, request.bytes()})) return no_answer(broken);
    return await_answer(box, request);
}

Reply Connection::ask(std::uint16_t box, const uds::ReadRequest& request) {
    const Timing& t = state_->timing;
    Reply r = state_->ask_once(box, request);
    for (int i = 0; i < t.most_busy && r.said == Said::refused && r.nrc == uds::busy_nrc; ++i) {
        std::this_thread::sleep_for(std::chrono::milliseconds(std::min<std::int64_t>(t.busy_pause_ms, 1000)));
        r = state_->ask_once(box, request);
    }
    return r;
}

Reply Connection::read(std::uint16_t box, std::uint16_t did) {
    Reply r = ask(box, uds::ReadRequest::identifier(did));
    if (r.said != Said::value) return r;
    auto data = uds::identifier_data(did, r.data);
    if (!data) return nonsense(data.error().problem);
    r.data = std::move(*data);
    return r;
}

std::vector<Reply> Connection::read_each(std::uint16_t box, std::span<const std::uint16_t> dids) {
    std::vector<Reply> out;
    for (const auto did : dids) out.push_back(read(box, did));
    return out;
}

std::vector<Reply> Connection::read_together(std::uint16_t box, std::span<const uds::Wanted> wanted) {
    std::vector<std::uint16_t> dids;
    for (const auto& w : wanted) dids.push_back(w.did);
    if (wanted.size() < 2) return read_each(box, dids);
    const Reply all = ask(box, uds::ReadRequest::identifiers(dids));
    if (all.said == Said::no_answer) return std::vector<Reply>(wanted.size(), all);
    if (all.said == Said::value)
        if (auto cut = uds::identifiers_data(wanted, all.data)) {
            std::vector<Reply> out;
            for (auto& record : *cut) out.push_back({Said::value, std::move(record), 0, {}});
            return out;
        }
    return read_each(box, dids);
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

}  // namespace fettle::link
