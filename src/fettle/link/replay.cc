#include "fettle/link/replay.h"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <list>
#include <map>

#include "fettle/link/can_box.h"
#include "fettle/link/doip.h"

namespace fettle::link {

namespace {

constexpr std::size_t most_testers = 8;
constexpr std::uint8_t not_reachable = 0x06;

// What was asked of one box, and how often it was answered in this replay.
struct Told {
    std::vector<const Exchanged*> exchanges;
    std::size_t next = 0;
};

struct Tester {
    int fd = -1;
    doip::Splitter splitter;
    std::unique_ptr<Watch> watch;
    bool gone = false;
};

}  // namespace

struct Replay::State {
    Recorded recorded;
    std::map<std::pair<std::uint64_t, Bytes>, Told> told;  // by box and question
    std::unique_ptr<Watch> udp, listener;
    std::list<Tester> testers;
    std::unique_ptr<CanBoxes> can;
    std::vector<BoxAddress> can_addresses;
    Loop* loop = nullptr;
    std::uint16_t port = 0;
    std::size_t asked = 0;
    std::set<std::string> missing;

    static std::uint64_t key_of(const Exchanged& e) {
        return e.can ? std::uint64_t{1} << 32 | std::uint64_t{e.request_id.extended} << 33 | e.request_id.number
                     : e.box;
    }
    const Exchanged* next(std::uint64_t box, ByteView question) {
        ++asked;
        const auto it = told.find({box, Bytes(question.begin(), question.end())});
        if (it == told.end()) {
            if (missing.size() < 1000)
                missing.insert(fmt::format("0x{:04x} {}", box & 0x1FFFFFFF,
                                           hex(question.first(std::min<std::size_t>(question.size(), 32)))));
            return nullptr;
        }
        Told& t = it->second;
        return t.exchanges[std::min(t.next++, t.exchanges.size() - 1)];
    }

    void accept() {
        while (true) {
            const int fd = ::accept4(listener->fd(), nullptr, nullptr, SOCK_CLOEXEC);
            if (fd < 0) return;
            std::erase_if(testers, [](const Tester& t) { return t.gone; });
            if (testers.size() == most_testers) {
                ::close(fd);
                continue;
            }
            Tester& t = testers.emplace_back();
            t.fd = fd;
            t.watch = std::make_unique<Watch>(*loop, fd, [this, &t] { read(t); });
        }
    }
    void read(Tester& t) {
        std::array<Byte, 4096> buffer;
        while (!t.gone) {
            const auto n = ::recv(t.fd, buffer.data(), buffer.size(), MSG_DONTWAIT);
            if (n < 0 && (errno == EAGAIN || errno == EINTR)) return;
            if (n <= 0) return end(t);
            t.splitter.feed(ByteView(buffer).first(static_cast<std::size_t>(n)));
            while (auto m = t.splitter.next()) {
                if (*m) {
                    answer(t, (*m)->body, (*m)->version);
                } else {
                    say(t, doip::HeaderNack{m->error().nack}, 2);
                    if (m->error().close) return end(t);
                }
            }
        }
    }
    static void end(Tester& t) {
        t.gone = true;
        t.watch->close();
    }
    static void say(const Tester& t, const doip::Body& body, std::uint8_t version) {
        const Bytes b = doip::encode(body, version);
        (void)::send(t.fd, b.data(), b.size(), MSG_NOSIGNAL);  // small; a tester that reads nothing gets no more
    }
    void answer(const Tester& t, const doip::Body& body, std::uint8_t version) {
        if (const auto* r = std::get_if<doip::RoutingRequest>(&body))
            return say(t, doip::RoutingResponse{r->source, recorded.entity, 0x10, std::nullopt}, version);
        const auto* d = std::get_if<doip::Diagnostic>(&body);
        if (!d) return;
        const Exchanged* e = next(d->target, d->data);
        if (!e) return say(t, doip::DiagnosticNack{d->target, d->source, not_reachable, {}}, version);
        if (!e->not_delivered.empty()) return say(t, doip::DiagnosticNack{d->target, d->source, e->nack, {}}, version);
        say(t, doip::DiagnosticAck{d->target, d->source, 0, {}}, version);
        for (const auto& a : e->answers)
            if (!a.empty()) say(t, doip::Diagnostic{d->target, d->source, a}, version);
    }
    void identify() {
        std::array<Byte, 2048> buffer;
        while (true) {
            sockaddr_in from{};
            socklen_t size = sizeof from;
            const auto n = ::recvfrom(udp->fd(), buffer.data(), buffer.size(), MSG_DONTWAIT,
                                      reinterpret_cast<sockaddr*>(&from), &size);
            if (n < 0) return;
            const auto m = doip::decode(ByteView(buffer).first(static_cast<std::size_t>(n)));
            if (!m || !std::holds_alternative<doip::IdentRequest>(m->body) || recorded.vin.size() != 17) continue;
            const Bytes b = doip::encode(doip::Announcement{recorded.vin, recorded.entity, {}, {}, 0, std::nullopt});
            (void)::sendto(udp->fd(), b.data(), b.size(), MSG_DONTWAIT, reinterpret_cast<sockaddr*>(&from), size);
        }
    }

    Status listen(const Endpoint& at);
    Status put_on_can(const Endpoint& at);
};

Status Replay::State::listen(const Endpoint& at) {
    in_addr host{};
    if (::inet_pton(AF_INET, at.host == "localhost" ? "127.0.0.1" : at.host.c_str(), &host) != 1 ||
        ntohl(host.s_addr) >> 24 != 127)
        return usage_error("not-loopback", text_of(at), "a recording is played back on this machine only",
                           "give 127.0.0.1 and a port");
    for (int attempt = 0; attempt < 20; ++attempt) {
        const int tcp = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0),
                  datagrams = ::socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
        sockaddr_in a{};
        a.sin_family = AF_INET;
        a.sin_port = htons(at.port);
        a.sin_addr = host;
        socklen_t size = sizeof a;
        const int on = 1;
        ::setsockopt(tcp, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
        auto* const address = reinterpret_cast<sockaddr*>(&a);
        // Port 0: TCP finds a free one, UDP may find it taken.
        if (::bind(tcp, address, size) == 0 && ::listen(tcp, 8) == 0 && ::getsockname(tcp, address, &size) == 0 &&
            ::bind(datagrams, address, size) == 0) {
            port = ntohs(a.sin_port);
            listener = std::make_unique<Watch>(*loop, tcp, [this] { accept(); });
            udp = std::make_unique<Watch>(*loop, datagrams, [this] { identify(); });
            return {};
        }
        const int error = errno;
        ::close(tcp);
        ::close(datagrams);
        if (at.port != 0)
            return outside_error("port-busy", text_of(at),
                                 fmt::format("it cannot be listened on: {}", std::strerror(error)),
                                 "end what listens there, or give another port");
    }
    return outside_error("port-busy", text_of(at), "no free port", "give a port");
}

Status Replay::State::put_on_can(const Endpoint& at) {
    std::vector<CanBoxes::Box> boxes;
    for (const Exchanged& e : recorded.exchanges) {
        if (!e.can || e.answers.empty()) continue;
        const auto same = [&](const CanBoxes::Box& b) { return b.address.can->request == e.request_id; };
        if (std::any_of(boxes.begin(), boxes.end(), same)) continue;
        BoxAddress address{{at.host, static_cast<std::uint16_t>(at.port == 0 ? 0 : at.port + 1)},
                           static_cast<std::uint16_t>(e.request_id.number),
                           CanAddress{}};
        address.can->request = e.request_id;
        address.can->answer = e.answer_id;
        address.can->fd = e.fd;
        if (e.fd) address.can->frame_bytes = 64;
        boxes.push_back({address, [this, key = key_of(e)](ByteView question) {
                             const Exchanged* told_then = next(key, question);
                             return told_then ? told_then->answers : std::vector<Bytes>();
                         }});
        can_addresses.push_back(address);
    }
    if (boxes.empty()) return {};
    auto started = CanBoxes::start(*loop, std::move(boxes));
    if (!started) return pass(started);
    can = std::move(*started);
    for (auto& a : can_addresses) a.at.port = can->port();
    return {};
}

Replay::Replay(std::unique_ptr<State> state) : state_(std::move(state)) {}
Replay::~Replay() = default;
std::uint16_t Replay::port() const {
    return state_->port;
}
std::vector<BoxAddress> Replay::on_can() const {
    return state_->can_addresses;
}
std::size_t Replay::asked() const {
    return state_->asked;
}
std::set<std::string> Replay::not_in_it() const {
    return state_->missing;
}

Result<std::unique_ptr<Replay>> Replay::start(Loop& loop, Recorded recorded, const Endpoint& at) {
    if (recorded.exchanges.empty())
        return bad_input("recording-empty", "recording", "nobody asks anything in it", "give a recording of the link");
    auto state = std::make_unique<State>();
    state->recorded = std::move(recorded);
    state->loop = &loop;
    bool any_doip = false;
    for (const Exchanged& e : state->recorded.exchanges) {
        any_doip |= !e.can;
        state->told[{State::key_of(e), e.question}].exchanges.push_back(&e);
    }
    if (any_doip) {
        if (auto ok = state->listen(at); !ok) return pass(ok);
    }
    if (auto ok = state->put_on_can(at); !ok) return pass(ok);
    return std::unique_ptr<Replay>(new Replay(std::move(state)));
}

}  // namespace fettle::link
