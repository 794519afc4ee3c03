// DoIP over TCP as a line: connects, activates routing, cuts the stream into messages, answers alive checks.
#include <fmt/format.h>

#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>

#include "fettle/link/open_line.h"
#include "fettle/link/recorder.h"
#include "fettle/link/wait.h"

namespace fettle::link {

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;

namespace {

// What one request may cost, whatever the other side sends: kept bytes, and what a recording adds to each (a packet has
// about so much beside its data).
constexpr std::size_t most_cost = 16u << 20;
constexpr std::size_t cost_of_packet = 128;
constexpr std::size_t most_waiting_out = 64u << 10;

class DoipLine : public Line, public std::enable_shared_from_this<DoipLine> {
public:
    DoipLine(Loop& loop, const Options& options)
        : socket_(*loop.context), options_(options), version_(options.version) {
        options_.loop.reset();  // what waits in the loop holds this line: the loop would keep itself
    }

    Status connect(const Endpoint& at, Loop& loop, const Timing& timing, const Cancel& cancel);
    Status activate(const std::string& place, Loop& loop, const Timing& timing, const Cancel& cancel);
    // The version that the other side speaks, when it refused ours for being another.
    std::optional<std::uint8_t> wants_version() const { return wants_version_; }
    void speak(std::uint8_t version) { version_ = version; }

    void send(std::uint16_t box, ByteView message) override {
        cost_ = 0;
        put(doip::Diagnostic{options_.tester, box, Bytes(message.begin(), message.end())});
    }
    void close() override {
        error_code ignored;
        socket_.close(ignored);
    }
    bool loopback() const override { return loopback_; }
    bool sends() const override { return !flying_.empty() || !out_.empty(); }
    std::uint16_t entity() const override { return entity_; }
    bool reaches(std::uint16_t) const override { return true; }

private:
    void put(const doip::Body& body);
    void write_on();
    void read();
    void tell_what_begins();
    void take(const tl::expected<doip::Message, doip::Fault>& m);
    void take(const doip::Message& m);
    void lost(const error_code& e) {
        if (e == asio::error::operation_aborted) return;
        breaks(Heard::broken, e == asio::error::eof ? std::string("the other side closed the connection")
                                                    : "the connection was lost: " + e.message());
    }

    tcp::socket socket_;
    Options options_;
    std::uint8_t version_;
    doip::Splitter splitter_;
    std::array<Byte, 8192> buffer_{};
    Bytes flying_, out_;    // what the socket did not take at once: being written, and behind it
    std::size_t cost_ = 0;  // since the last request
    bool told_ = false;     // that a message has begun
    bool loopback_ = false;
    std::uint16_t entity_ = 0;
    std::optional<doip::RoutingResponse> activation_;
    std::optional<std::uint8_t> refused_header_, wants_version_;
};

// --- bytes out -----------------------------------------------------------------------------------------------------

void DoipLine::put(const doip::Body& body) {
    if (!closed().empty()) return;
    const Bytes bytes = doip::encode(body, version_);
    if (out_.size() > most_waiting_out) return breaks(Heard::broken, "the other side takes no more bytes");
    if (options_.record) options_.record->tcp(this, true, bytes);
    if (sends()) return append(out_, bytes);
    error_code e;
    const std::size_t n = socket_.write_some(asio::buffer(bytes), e);  // the socket is non-blocking
    if (e && e != asio::error::would_block && e != asio::error::try_again) return lost(e);
    if (!e && n == bytes.size()) return;
    append(out_, ByteView(bytes).subspan(e ? 0 : n));
    write_on();
}

void DoipLine::write_on() {
    flying_ = std::move(out_);
    out_.clear();
    asio::async_write(socket_, asio::buffer(flying_), [self = shared_from_this()](const error_code& e, std::size_t) {
        self->flying_.clear();
        if (e) return self->lost(e);
        if (!self->out_.empty()) self->write_on();
    });
}

// --- bytes in ------------------------------------------------------------------------------------------------------

void DoipLine::read() {
    socket_.async_read_some(asio::buffer(buffer_), [self = shared_from_this()](const error_code& e, std::size_t n) {
        const ByteView got = ByteView(self->buffer_).first(n);
        if (n > 0 && self->options_.record) self->options_.record->tcp(self.get(), false, got);
        self->cost_ += n + cost_of_packet;
        self->splitter_.feed(got);
        while (self->closed().empty()) {
            const auto m = self->splitter_.next();
            if (!m) break;
            self->told_ = false;
            self->take(*m);
        }
        if (self->cost_ > most_cost) self->breaks(Heard::spoilt, "it sends without end, so it was left");
        if (self->closed().empty()) self->tell_what_begins();
        if (e) return self->lost(e);
        if (self->closed().empty()) self->read();
    });
}

// A message that is still arriving keeps its time.
void DoipLine::tell_what_begins() {
    if (told_ || splitter_.kept() == 0 || !activation_) return;
    told_ = true;
    hears({Heard::begins, 0, {}, {}});
}

void DoipLine::take(const tl::expected<doip::Message, doip::Fault>& m) {
    if (m) return take(*m);
    const doip::Fault& f = m.error();
    if (f.close) return breaks(Heard::spoilt, "what came back is not DoIP: " + f.words);
    if (f.nack != 0x02) return;  // of a type that nobody knows: passed over
    const std::string announced = "it announced " + f.words;
    if (f.skip > most_cost) return breaks(Heard::spoilt, announced);
    if (activation_) return hears({Heard::damaged, 0, {}, announced});
    breaks(Heard::spoilt, announced);
}

void DoipLine::take(const doip::Message& m) {
    if (std::holds_alternative<doip::AliveRequest>(m.body)) {
        cost_ += cost_of_packet;
        return put(doip::AliveResponse{options_.tester});
    }
    const bool routed = activation_ && activation_->code == 0x10;  // before that nothing was asked
    if (!routed &&
        (std::holds_alternative<doip::Diagnostic>(m.body) || std::holds_alternative<doip::DiagnosticAck>(m.body)))
        return;
    if (const auto* d = std::get_if<doip::Diagnostic>(&m.body)) {
        if (d->target == options_.tester) hears({Heard::message, d->source, d->data, {}});
    } else if (const auto* ack = std::get_if<doip::DiagnosticAck>(&m.body)) {
        if (ack->target == options_.tester) hears({Heard::delivered, ack->source, {}, {}});
    } else if (const auto* nack = std::get_if<doip::DiagnosticNack>(&m.body)) {
        if (nack->target == options_.tester)
            hears({Heard::not_delivered,
                   0,
                   {},  // one request is open at a time; gateways differ in whose name they say no
                   fmt::format("not delivered: {} (code 0x{:02X})", doip::diagnostic_nack_words(nack->code),
                               nack->code)});
    } else if (const auto* header = std::get_if<doip::HeaderNack>(&m.body)) {
        refused_header_ = header->code;
        if (header->code == 0x00 && m.version != version_ && m.version <= 3) wants_version_ = m.version;
        hears({Heard::not_delivered,
               0,
               {},
               fmt::format("not delivered: {} (header code 0x{:02X})", doip::header_nack_words(header->code),
                           header->code)});
    } else if (const auto* r = std::get_if<doip::RoutingResponse>(&m.body)) {
        if (r->tester == options_.tester) activation_ = *r;
    }
}

// --- opening -------------------------------------------------------------------------------------------------------

Status DoipLine::connect(const Endpoint& at, Loop& loop, const Timing& timing, const Cancel& cancel) {
    const auto address = numeric_address(at.host);
    if (!address)
        return usage_error("bad-address", at.host, "it is not a numeric address",
                           "give the address as numbers, e.g. 127.0.0.1");
    error_code error;
    bool done = false;
    socket_.async_connect(tcp::endpoint(*address, at.port), [&](const error_code& e) {
        error = e;
        done = true;
    });
    const Waited w = wait_for(loop, done, in_ms(timing.connect_ms), cancel, [&] { close(); });
    if (w == Waited::cancelled) return outside_error("link-cancelled", text_of(at), "it was broken off", "ask again");
    if (w == Waited::late || error)
        return outside_error(
            "link-not-reachable", text_of(at),
            w == Waited::late ? std::string("nobody took the connection in time") : "no connection: " + error.message(),
            Next{"check cable, address and ignition; `", propose(Act::find_boxes), "` asks who is there"});
    socket_.set_option(tcp::no_delay(true), error);
    socket_.non_blocking(true, error);
    loopback_ = address->is_loopback();
    if (options_.record)
        options_.record->opened(
            this, {socket_.local_endpoint(error).address().to_string(), socket_.local_endpoint(error).port()}, at);
    read();
    return {};
}

Status DoipLine::activate(const std::string& place, Loop& loop, const Timing& timing, const Cancel& cancel) {
    const auto gone = [&](const std::string& what) {
        return outside_error("link-not-reachable", place, what,
                             "check that ignition is on and no other tester is connected, then try again");
    };
    put(doip::RoutingRequest{options_.tester, options_.activation, std::nullopt});
    const SteadyTime until = in_ms(timing.control_ms);
    const Waited w =
        wait_until(loop, until, cancel, [&] { return activation_ || refused_header_ || !closed().empty(); });
    if (w == Waited::cancelled) return outside_error("link-cancelled", place, "it was broken off", "ask again");
    if (w == Waited::late) return gone("it took the connection, but did not answer the routing activation in time");
    if (activation_ && activation_->code == 0x10) {
        entity_ = activation_->entity;
        return {};
    }
    if (activation_)
        return outside_error(
            "link-refused", place,
            fmt::format("{} (activation code 0x{:02X})", doip::activation_words(activation_->code), activation_->code),
            activation_->code == 0x11 ? "confirm at the vehicle as its maker describes, then try again"
                                      : "end other testers' connections, or leave it to the maker's own access");
    const std::string check = "check that this is the vehicle's diagnostic address, and its port";
    if (refused_header_)
        return outside_error("link-nonsense", place,
                             fmt::format("it refused the message: {} (0x{:02X})",
                                         doip::header_nack_words(*refused_header_), *refused_header_),
                             check);
    if (!was_lost() && !closed().empty()) return outside_error("link-nonsense", place, closed(), check);
    return gone(closed());
}

}  // namespace

Result<std::shared_ptr<Line>> open_doip(const Endpoint& at, Loop& loop, const Options& options, const Timing& timing,
                                        const Cancel& cancel) {
    std::uint8_t version = options.version;
    for (int attempt = 0;; ++attempt) {
        auto line = std::make_shared<DoipLine>(loop, options);
        line->speak(version);
        if (auto ok = line->connect(at, loop, timing, cancel); !ok) return pass(ok);
        auto ok = line->activate(text_of(at), loop, timing, cancel);
        if (ok) return std::shared_ptr<Line>(std::move(line));
        line->close();
        const auto wants = line->wants_version();
        if (attempt > 0 || !wants || *wants < 2) return pass(ok);
        version = *wants;
    }
}

}  // namespace fettle::link
