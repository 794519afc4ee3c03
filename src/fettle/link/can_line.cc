// ISO-TP on a CAN bus as a line: the state machines of isotp.h, driven by a port and a timer.
#include "fettle/link/can_line.h"

#include "fettle/link/can_port.h"
#include "fettle/link/isotp.h"
#include "fettle/link/recorder.h"

namespace fettle::link {

namespace {

SteadyTime now_is() {
    return std::chrono::steady_clock::now();
}

isotp::Config config_of(const CanAddress& a, const Timing& t) {
    isotp::Config c;
    c.fd = a.fd;
    c.frame_bytes = a.frame_bytes;
    c.pad = a.pad;
    c.block_size = a.block_size;
    c.st_min = a.st_min;
    c.timers = {t.isotp_ms, t.isotp_ms, t.isotp_ms, t.isotp_ms * 9 / 10, t.isotp_ms * 9 / 10, t.isotp_ms};
    return c;
}

// To one request, what it costs in a recording: 16 MiB. The longest answer that is taken has fewer.
constexpr std::size_t most_frames = 200'000;

class CanLine : public Line {
public:
    CanLine(Loop& loop, std::shared_ptr<CanPort> port, const BoxAddress& at, const Timing& timing,
            std::shared_ptr<Recorder> record)
        : port_(std::move(port)),
          timer_(loop, [this] { pump(); }),
          at_(*at.can),
          box_(at.logical),
          channel_(config_of(at_, timing)),
          record_(std::move(record)) {}

    void begin() {
        port_->listen(
            [this](const CanFrame& f) {
                if (++frames_ > most_frames) return breaks(Heard::spoilt, "it sends without end, so it was left");
                if (record_) record_->can(false, f);
                channel_.take(f.bytes(), now_is());
                pump();
            },
            [this](std::string why) { breaks(Heard::broken, std::move(why)); });
    }
    void send(std::uint16_t, ByteView message) override {
        if (!closed().empty()) return;
        waiting_.reset();
        frames_ = 0;
        channel_.sender.start(Bytes(message.begin(), message.end()), now_is());
        pump();
    }
    void close() override {
        port_->close();
        timer_.stop();
    }
    bool loopback() const override { return port_->loopback(); }
    bool sends() const override { return false; }  // a message that does not get out ends by its own timers
    std::uint16_t entity() const override { return box_; }
    bool reaches(std::uint16_t box) const override { return box == box_; }

private:
    void pump();
    void tell();
    void arm(SteadyTime at);

    std::shared_ptr<CanPort> port_;
    Alarm timer_;
    SteadyTime armed_ = isotp::never;
    CanAddress at_;
    std::uint16_t box_;
    isotp::Channel channel_;
    std::shared_ptr<Recorder> record_;
    std::optional<CanFrame> waiting_;  // the bus had no room for it
    std::size_t frames_ = 0;           // since the last request
};

void CanLine::pump() {
    if (!closed().empty()) return;
    SteadyTime now = now_is();
    if (now >= armed_) armed_ = isotp::never;  // it has rung, or is about to for nothing
    channel_.tick(now);
    tell();
    isotp::Payload p;
    while (closed().empty()) {
        if (!waiting_) {
            if (!channel_.next(p, now)) break;
            CanFrame& f = waiting_.emplace();
            f.id = at_.request;
            f.fd = f.bit_rate_switch = at_.fd;
            f.size = p.size;
            std::copy(p.data.begin(), p.data.begin() + p.size, f.data.begin());
        }
        const Put put = port_->put(*waiting_);
        now = now_is();
        if (put == Put::gone) return breaks(Heard::broken, "the bus is gone");
        if (put == Put::full) return arm(now + std::chrono::milliseconds(1));
        if (record_) record_->can(true, *waiting_);
        waiting_.reset();
        channel_.sent(now);
        tell();
    }
    arm(channel_.deadline());
}

// What the state machines have come to.
void CanLine::tell() {
    if (const auto o = channel_.sender.outcome()) {
        waiting_.reset();
        hears({*o == isotp::Outcome::ok ? Heard::delivered : Heard::not_delivered,
               box_,
               {},
               "not delivered: " + std::string(words(*o))});
    }
    while (auto e = channel_.receiver.event()) {
        const std::string why(words(e->outcome));
        if (e->what == isotp::Event::begins) hears({Heard::begins, box_, {}, {}});
        if (e->what == isotp::Event::message) hears({Heard::message, box_, std::move(e->data), {}});
        if (e->what != isotp::Event::failed) continue;
        if (e->outcome == isotp::Outcome::unexpected_pdu) continue;  // what began instead may be the answer
        waiting_.reset();
        hears({e->outcome == isotp::Outcome::timeout_cr ? Heard::broke_off : Heard::damaged, box_, {}, why});
    }
}

void CanLine::arm(SteadyTime at) {
    if (at == armed_) return;
    armed_ = at;
    if (at == isotp::never)
        timer_.stop();
    else
        timer_.set(at);
}

}  // namespace

Result<std::shared_ptr<Line>> open_can(const BoxAddress& at, Loop& loop, const Timing& timing,
                                       std::shared_ptr<Recorder> record) {
    auto port = open_can_port(at, loop);
    if (!port) return pass(port);
    auto line = std::make_shared<CanLine>(loop, std::move(*port), at, timing, std::move(record));
    line->begin();
    return std::shared_ptr<Line>(std::move(line));
}

}  // namespace fettle::link
