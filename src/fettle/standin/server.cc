#include "fettle/standin/server.h"

#include <fmt/format.h>

#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <deque>
#include <list>
#include <mutex>
#include <thread>

#include "fettle/link/doip.h"

namespace fettle::standin {

namespace asio = boost::asio;
namespace doip = link::doip;
using asio::ip::tcp;
using asio::ip::udp;
using boost::system::error_code;

namespace {

constexpr std::size_t most_sessions = 4;
constexpr doip::Eid eid{0x02, 0xFE, 0x77, 0xE0, 0x00, 0x01};  // locally administered, made up

// The set and its guard.
struct Shared {
    Shared(VirtualSet s, Manners m) : manners(std::move(m)), set(std::move(s)) {}
    const Manners manners;
    mutable std::mutex mutex;
    VirtualSet set;  // guarded by mutex

    template <class F>
    auto with(F f) {
        const std::lock_guard lock(mutex);
        return f(set);
    }
    std::uint16_t entity(std::uint16_t only) {
        return only != 0 ? only : with([](VirtualSet& s) { return s.entity_address(); });
    }
    bool awake(std::uint16_t only) {
        return with([&](VirtualSet& s) { return s.reachable(only != 0 ? only : s.entity_address()); });
    }
};

struct Session;
using Sessions = std::list<std::shared_ptr<Session>>;

// One TCP connection. Lives on the server's thread only.
struct Session : std::enable_shared_from_this<Session> {
    Session(tcp::socket s, Shared& sh, Sessions& a, std::uint16_t o)
        : socket(std::move(s)), shared(sh), all(a), only(o) {}
    tcp::socket socket;
    Shared& shared;
    Sessions& all;
    const std::uint16_t only;  // the one box that answers here; 0: every one
    doip::Splitter splitter;
    std::optional<std::uint16_t> tester;  // once activated
    std::deque<Bytes> out;
    bool closing = false;  // once everything is sent
    bool alive = false;    // it has said so since it was asked
    asio::steady_timer patience{socket.get_executor()};
    std::array<Byte, 4096> buffer{};

    void read() {
        socket.async_read_some(asio::buffer(buffer), [self = shared_from_this()](const error_code& e, std::size_t n) {
            if (e) return self->drop();
            self->splitter.feed(ByteView(self->buffer).first(n));
            while (auto m = self->splitter.next()) {
                if (self->closing) break;
                self->take(*m);
            }
            if (!self->closing) self->read();
        });
    }
    void send(const doip::Body& body, std::uint8_t version) {
        out.push_back(doip::encode(body, version));
        if (out.size() == 1) write();
    }
    void write() {
        asio::async_write(socket, asio::buffer(out.front()),
                          [self = shared_from_this()](const error_code& e, std::size_t) {
                              if (e) return self->drop();
                              self->out.pop_front();
                              if (!self->out.empty()) return self->write();
                              if (self->closing) self->drop();
                          });
    }
    void drop() {
        patience.cancel();
        error_code ignored;
        socket.shutdown(tcp::socket::shutdown_both, ignored);
        socket.close(ignored);
        all.remove(shared_from_this());
    }

    void take(const tl::expected<doip::Message, doip::Fault>& m) {
        if (!shared.awake(only)) return;  // dark: nothing is heard and nothing said
        if (!m) {
            closing = m.error().close;
            return send(doip::HeaderNack{m.error().nack}, 2);
        }
        if (const auto* r = std::get_if<doip::RoutingRequest>(&m->body)) return activate(*r, m->version);
        if (const auto* d = std::get_if<doip::Diagnostic>(&m->body)) return diagnostic(*d, m->version);
        if (std::holds_alternative<doip::AliveResponse>(m->body)) {
            alive = true;
            return;
        }
        send(doip::HeaderNack{0x01}, m->version);
    }

    void activate(const doip::RoutingRequest& r, std::uint8_t version) {
        std::uint8_t code = 0x10;
        if (r.source < doip::first_tester || r.source > doip::last_tester) {
            code = 0x00;
        } else if (r.type != 0x00) {
            code = 0x06;
        } else if (tester && *tester != r.source) {
            code = 0x02;
        } else if (const auto others = in_the_way(r.source); !others.empty()) {
            return ask_alive(others, r, version);
        }
        conclude(r, version, code);
    }

    // Who stands against a new tester: the one with its address, or everybody when no place is left.
    std::vector<std::shared_ptr<Session>> in_the_way(std::uint16_t source) const {
        std::vector<std::shared_ptr<Session>> same, active;
        for (const auto& s : all) {
            if (s.get() == this || !s->tester) continue;
            active.push_back(s);
            if (s->tester == source) same.push_back(s);
        }
        if (!same.empty()) return same;
        return all.size() > most_sessions ? active : same;
    }
    // Whoever does not say in time that it is alive is gone: then there is room.
    void ask_alive(const std::vector<std::shared_ptr<Session>>& others, const doip::RoutingRequest& r,
                   std::uint8_t version) {
        for (const auto& s : others) {
            s->alive = false;
            s->send(doip::AliveRequest{}, version);
        }
        patience.expires_after(std::chrono::milliseconds(shared.manners.alive_ms));
        patience.async_wait([self = shared_from_this(), others, r, version](const error_code& e) {
            if (e) return;
            for (const auto& s : others)
                if (!s->alive) s->drop();
            const auto left = self->in_the_way(r.source);
            self->conclude(r, version,
                           left.empty()                       ? std::uint8_t{0x10}
                           : left.front()->tester == r.source ? std::uint8_t{0x03}
                                                              : std::uint8_t{0x01});
        });
    }
    void conclude(const doip::RoutingRequest& r, std::uint8_t version, std::uint8_t code) {
        if (code == 0x10)
            tester = r.source;
        else
            closing = true;
        send(doip::RoutingResponse{r.source, shared.entity(only), code, std::nullopt}, version);
    }

    void diagnostic(const doip::Diagnostic& d, std::uint8_t version) {
        if (!tester || *tester != d.source) {
            closing = !tester;
            return send(doip::DiagnosticNack{d.target, d.source, 0x02, {}}, version);
        }
        struct Answer {
            bool known = false, awake = false;
            std::optional<Bytes> bytes;
        };
        const Answer a = shared.with([&](VirtualSet& s) {
            Answer x;
            x.known = s.knows(d.target) && (only == 0 || only == d.target);
            x.awake = x.known && s.reachable(d.target);
            if (x.awake) x.bytes = s.uds(d.target, d.data);
            return x;
        });
        if (!a.known) return send(doip::DiagnosticNack{d.target, d.source, 0x03, {}}, version);
        if (!a.awake) return;
        send(doip::DiagnosticAck{d.target, d.source, 0x00, {}}, version);
        if (a.bytes) send(doip::Diagnostic{d.target, d.source, *a.bytes}, version);
    }
};

}  // namespace

namespace {

// One address: TCP and UDP on the same port.
struct Entrance {
    Entrance(asio::io_context& c, Shared& sh, std::string box, std::uint16_t o)
        : context(c), shared(sh), role(std::move(box)), only(o) {}
    asio::io_context& context;
    Shared& shared;
    const std::string role;  // empty: every box
    const std::uint16_t only;
    tcp::acceptor acceptor{context};
    udp::socket udp_socket{context};
    udp::endpoint from, announce_to;
    asio::steady_timer bell{context};
    std::array<Byte, 2048> datagram{};
    Sessions sessions;  // server thread only
    std::string host;
    std::uint16_t port = 0;

    error_code bind(const asio::ip::address& address, std::uint16_t wanted) {
        error_code e;
        const tcp::endpoint at(address, wanted);
        acceptor = tcp::acceptor(context);
        udp_socket = udp::socket(context);
        acceptor.open(at.protocol(), e);
        if (!e) acceptor.set_option(tcp::acceptor::reuse_address(true), e);
        if (!e) acceptor.bind(at, e);
        if (!e) acceptor.listen(8, e);
        if (e) return e;
        port = acceptor.local_endpoint().port();
        udp_socket.open(udp::endpoint(address, port).protocol(), e);
        if (!e) udp_socket.bind(udp::endpoint(address, port), e);
        return e;
    }
    Status open(const std::string& at, std::uint16_t wanted) {
        error_code e;
        const auto address = asio::ip::make_address(at == "localhost" ? "127.0.0.1" : at, e);
        if (e || !address.is_loopback())
            return usage_error("not-loopback", at, "a stand-in listens on this machine only",
                               "give 127.0.0.1 and a port");
        host = address.to_string();
        for (int attempt = 0; attempt < 20; ++attempt) {
            e = bind(address, wanted);
            if (!e || wanted != 0) break;  // port 0: TCP found a free one, UDP may find it taken
        }
        if (e)
            return outside_error("port-busy", fmt::format("{}:{}", at, wanted),
                                 "it cannot be listened on: " + e.message(),
                                 "end what listens there, or give another port (0 takes any free one)");
        accept();
        identify();
        return {};
    }
    Status begin_announcing() {
        error_code e;
        const auto to = asio::ip::make_address(
            shared.manners.announce_host == "localhost" ? "127.0.0.1" : shared.manners.announce_host, e);
        if (e || !to.is_loopback() || to.is_v6() != udp_socket.local_endpoint().address().is_v6())
            return usage_error("not-loopback", shared.manners.announce_host,
                               "a stand-in announces itself on this machine only", "give 127.0.0.1 and a port");
        announce_to = udp::endpoint(to, shared.manners.announce_port);
        announce(0, false);
        return {};
    }
    void accept() {
        acceptor.async_accept([this](const error_code& e, tcp::socket s) {
            if (e == asio::error::operation_aborted) return;
            if (!e) {
                error_code ignored;
                s.set_option(tcp::no_delay(true), ignored);
                sessions.push_back(std::make_shared<Session>(std::move(s), shared, sessions, only));
                sessions.back()->read();
            }
            accept();
        });
    }
    void identify() {
        udp_socket.async_receive_from(asio::buffer(datagram), from, [this](const error_code& e, std::size_t n) {
            if (e == asio::error::operation_aborted) return;
            if (!e && shared.awake(only)) answer(ByteView(datagram).first(n));
            identify();
        });
    }
    doip::Announcement announcement() {
        return {shared.with([](VirtualSet& s) { return s.vin(); }), shared.entity(only), eid, eid, 0x00, 0x00};
    }
    // Each time that it has come up: three times, from the port that it listens on.
    void announce(int left, bool was_awake) {
        const bool awake = shared.awake(only);
        if (awake && !was_awake) left = 3;
        if (awake && left > 0) {
            error_code ignored;
            udp_socket.send_to(asio::buffer(doip::encode(announcement())), announce_to, 0, ignored);
            --left;
        }
        bell.expires_after(std::chrono::milliseconds(left > 0 ? shared.manners.announce_ms : 20));
        bell.async_wait([this, left, awake](const error_code& e) {
            if (!e) announce(left, awake);
        });
    }
    void answer(ByteView bytes) {
        const auto m = doip::decode(bytes);
        std::uint8_t version = 2;
        std::optional<doip::Body> body;
        if (!m) {
            body = doip::HeaderNack{m.error().nack};
        } else {
            version = m->version == 0xFF ? std::uint8_t{2} : m->version;
            const std::string vin = shared.with([](VirtualSet& s) { return s.vin(); });
            bool wanted = std::holds_alternative<doip::IdentRequest>(m->body);
            if (const auto* by_vin = std::get_if<doip::IdentRequestVin>(&m->body)) wanted = by_vin->vin == vin;
            if (const auto* by_eid = std::get_if<doip::IdentRequestEid>(&m->body)) wanted = by_eid->eid == eid;
            if (wanted) body = announcement();
        }
        if (!body) return;
        error_code ignored;
        const Bytes out = doip::encode(*body, version);
        udp_socket.send_to(asio::buffer(out), from, 0, ignored);
    }
};

}  // namespace

struct Server::State {
    State(VirtualSet set, const Manners& manners) : shared(std::move(set), manners) {}
    Shared shared;
    asio::io_context context;
    std::list<Entrance> entrances;  // the first is the set's own
    std::jthread thread;
};

Server::Server(std::unique_ptr<State> state) : state_(std::move(state)) {}

Result<std::unique_ptr<Server>> Server::start(VirtualSet set, const std::string& host, std::uint16_t port,
                                              const std::vector<Door>& further, const Manners& manners) {
    auto state = std::make_unique<State>(std::move(set), manners);
    State& s = *state;
    if (auto ok = s.entrances.emplace_back(s.context, s.shared, "", 0).open(host, port); !ok) return pass(ok);
    for (const Door& d : further) {
        const std::uint16_t address = s.shared.set.address_of(d.box);
        if (address == 0)
            return usage_error("no-such-box", d.box, "the family has no such box on the link",
                               "name a box of the family file's [[link]] records");
        if (auto ok = s.entrances.emplace_back(s.context, s.shared, d.box, address).open(d.host, d.port); !ok)
            return pass(ok);
    }
    if (!manners.announce_host.empty())
        if (auto ok = s.entrances.front().begin_announcing(); !ok) return pass(ok);
    state->thread = std::jthread([&s] { s.context.run(); });
    return std::unique_ptr<Server>(new Server(std::move(state)));
}

Server::~Server() {
    state_->context.stop();
    if (state_->thread.joinable()) state_->thread.join();
    for (Entrance& e : state_->entrances) {
        for (const auto& s : e.sessions) {
            error_code ignored;
            s->socket.close(ignored);
        }
        e.sessions.clear();
    }
}

std::uint16_t Server::port() const {
    return state_->entrances.front().port;
}
std::string Server::host() const {
    return state_->entrances.front().host;
}
std::uint16_t Server::port_of(std::string_view box) const {
    for (const Entrance& e : state_->entrances)
        if (e.role == box && !e.role.empty()) return e.port;
    return 0;
}
void Server::with(const std::function<void(VirtualSet&)>& f) {
    state_->shared.with([&](VirtualSet& s) {
        f(s);
        return 0;
    });
}
VirtualSet Server::snapshot() const {
    const std::lock_guard lock(state_->shared.mutex);
    return state_->shared.set;
}

}  // namespace fettle::standin
