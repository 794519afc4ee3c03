#include "fettle/link/can_box.h"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <deque>

#include "fettle/link/isotp.h"

namespace fettle::link {

namespace {

constexpr std::size_t most_listeners = 16;

bool same(const sockaddr_in& a, const sockaddr_in& b) {
    return a.sin_port == b.sin_port && a.sin_addr.s_addr == b.sin_addr.s_addr;
}

// One box: its ISO-TP channel, and the answers that wait for it.
struct Served {
    Served(CanBoxes::Box b, const isotp::Config& c) : box(std::move(b)), channel(c) {}
    CanBoxes::Box box;
    isotp::Channel channel;
    std::deque<Bytes> waiting{};
};

isotp::Config config_of(const CanAddress& a) {
    isotp::Config c;
    c.fd = a.fd;
    c.frame_bytes = a.frame_bytes;
    c.pad = a.pad;
    return c;
}

}  // namespace

struct CanBoxes::State {
    State(Loop& loop, int fd) : socket(loop, fd, [this] { read(); }), alarm(loop, [this] { pump(); }) {}
    Watch socket;
    Alarm alarm;
    std::vector<std::unique_ptr<Served>> boxes{};
    std::vector<sockaddr_in> listeners{};
    std::uint16_t port = 0;

    void read() {
        std::array<Byte, 128> buffer;
        for (int i = 0; i < 1000; ++i) {
            sockaddr_in from{};
            socklen_t size = sizeof from;
            const auto n =
                ::recvfrom(socket.fd(), buffer.data(), buffer.size(), 0, reinterpret_cast<sockaddr*>(&from), &size);
            if (n < 0 && errno == ECONNREFUSED) continue;  // a listener is gone
            if (n < 0) break;
            const ByteView bytes = ByteView(buffer).first(static_cast<std::size_t>(n));
            const auto frame = decode_frame(bytes);
            if (!frame) continue;
            take_in(from);
            for (const auto& to : listeners)  // as on a bus: the others hear it, too
                if (!same(to, from)) put(bytes, to);
            for (auto& b : boxes)
                if (b->box.address.can->request == frame->id)
                    b->channel.take(frame->bytes(), std::chrono::steady_clock::now());
            pump();
        }
    }
    void take_in(const sockaddr_in& from) {
        if (std::any_of(listeners.begin(), listeners.end(), [&](const auto& l) { return same(l, from); })) return;
        if (listeners.size() == most_listeners) listeners.erase(listeners.begin());
        listeners.push_back(from);
    }
    void put(ByteView bytes, const sockaddr_in& to) const {
        (void)::sendto(socket.fd(), bytes.data(), bytes.size(), MSG_DONTWAIT, reinterpret_cast<const sockaddr*>(&to),
                       sizeof to);
    }

    void pump() {
        const SteadyTime now = std::chrono::steady_clock::now();
        SteadyTime next = isotp::never;
        for (auto& s : boxes) {
            isotp::Channel& c = s->channel;
            c.tick(now);
            (void)c.sender.outcome();  // a tester that takes no answer gets none
            while (auto e = c.receiver.event())
                if (e->what == isotp::Event::message)
                    for (auto& a : s->box.answers(e->data)) s->waiting.push_back(std::move(a));
            isotp::Payload p;
            while (true) {
                if (c.sender.idle() && !s->waiting.empty()) {
                    c.sender.start(std::move(s->waiting.front()), now);
                    s->waiting.pop_front();
                }
                if (!c.next(p, now)) break;
                CanFrame f;
                f.id = s->box.address.can->answer;
                f.fd = s->box.address.can->fd;
                f.size = p.size;
                std::copy(p.data.begin(), p.data.begin() + p.size, f.data.begin());
                const Bytes bytes = encode(f);
                for (const auto& to : listeners) put(bytes, to);
                c.sent(now);
                (void)c.sender.outcome();
            }
            next = std::min(next, c.deadline());
        }
        if (next != isotp::never) alarm.set(next);
    }
};

CanBoxes::CanBoxes(std::unique_ptr<State> state) : state_(std::move(state)) {}
CanBoxes::~CanBoxes() = default;
std::uint16_t CanBoxes::port() const {
    return state_->port;
}

Result<std::unique_ptr<CanBoxes>> CanBoxes::start(Loop& loop, std::vector<Box> boxes) {
    const BoxAddress& first = boxes.at(0).address;
    in_addr host{};
    const std::string text = first.at.host == "localhost" ? "127.0.0.1" : first.at.host;
    const bool here = ::inet_pton(AF_INET, text.c_str(), &host) == 1 && ntohl(host.s_addr) >> 24 == 127;
    if (!here || !first.can || !first.can->interface.empty())
        return usage_error("not-loopback", text_of(first), "a stand-in's bus is on this machine only",
                           "write can://127.0.0.1:PORT/0x7a1:0x7a9");
    const int fd = ::socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    sockaddr_in a{};
    a.sin_family = AF_INET;
    a.sin_port = htons(first.at.port);
    a.sin_addr = host;
    socklen_t size = sizeof a;
    const int room = 1 << 20;  // long messages come frame by frame, faster than they are read
    if (fd >= 0) ::setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &room, sizeof room);
    if (fd < 0 || ::bind(fd, reinterpret_cast<sockaddr*>(&a), size) != 0 ||
        ::getsockname(fd, reinterpret_cast<sockaddr*>(&a), &size) != 0) {
        const int error = errno;
        if (fd >= 0) ::close(fd);
        return outside_error("port-busy", text_of(first.at),
                             fmt::format("it cannot be listened on: {}", std::strerror(error)),
                             "end what listens there, or give another port");
    }
    auto state = std::make_unique<State>(loop, fd);
    state->port = ntohs(a.sin_port);
    for (auto& b : boxes) {
        const auto config = config_of(*b.address.can);
        state->boxes.push_back(std::make_unique<Served>(std::move(b), config));
    }
    return std::unique_ptr<CanBoxes>(new CanBoxes(std::move(state)));
}

}  // namespace fettle::link
