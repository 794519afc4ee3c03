// For tests: a box that behaves as badly as it is told to, on a loopback port of its own. Plain sockets, no code of the
// room but the header layout written out again.
#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <functional>
#include <stdexcept>
#include <thread>

#include "fettle/base/bytes.h"
#include "fettle/link/address.h"

namespace fettle::link::testing {

inline Bytes frame(std::uint16_t type, const Bytes& body) {
    Bytes out{0x02, 0xFD};
    append_be16(out, type);
    append_be32(out, static_cast<std::uint32_t>(body.size()));
    append(out, body);
    return out;
}
inline Bytes activated(std::uint8_t code = 0x10) {
    return frame(0x0006, {0x0E, 0x80, 0x10, 0x41, code, 0, 0, 0, 0});
}
inline Bytes ack() {
    return frame(0x8002, {0x10, 0x41, 0x0E, 0x80, 0x00});
}
inline Bytes says(const Bytes& uds, std::uint16_t from = 0x1041) {
    Bytes body;
    append_be16(body, from);
    append_be16(body, 0x0E80);
    append(body, uds);
    return frame(0x8001, body);
}
inline Bytes operator+(Bytes a, const Bytes& b) {
    append(a, b);
    return a;
}

class RudeBox {
public:
    // One accepted connection: the socket, for the behaviour to use as it likes.
    struct Line {
        int fd = -1;
        void send(const Bytes& b) const {
            [[maybe_unused]] const auto n = ::send(fd, b.data(), b.size(), MSG_NOSIGNAL);
        }
        // Next message's bytes (header and body); empty when the other side is gone or nothing came for 3 s.
        Bytes receive() const {
            Bytes all = take(8);
            if (all.size() == 8) append(all, take(load_be32(all, 4)));
            return all;
        }
        Bytes take(std::size_t n) const {
            Bytes out;
            while (out.size() < n) {
                pollfd p{fd, POLLIN, 0};
                Byte buffer[512];
                if (::poll(&p, 1, 3000) <= 0) break;
                const auto got = ::recv(fd, buffer, std::min(n - out.size(), sizeof buffer), 0);
                if (got <= 0) break;
                out.insert(out.end(), buffer, buffer + got);
            }
            return out;
        }
        void activate() const {
            receive();
            send(activated());
        }
    };

    // Takes so many connections, one after another.
    explicit RudeBox(std::function<void(const Line&)> behaviour, int connections = 1) {
        listener_ = ::socket(AF_INET, SOCK_STREAM, 0);
        sockaddr_in a{};
        a.sin_family = AF_INET;
        a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t n = sizeof a;
        if (::bind(listener_, reinterpret_cast<sockaddr*>(&a), n) != 0 || ::listen(listener_, 4) != 0 ||
            ::getsockname(listener_, reinterpret_cast<sockaddr*>(&a), &n) != 0)
            throw std::runtime_error("no loopback socket");
        port_ = ntohs(a.sin_port);
        thread_ = std::jthread([this, behaviour = std::move(behaviour), connections] {
            for (int i = 0; i < connections; ++i) {
                pollfd p{listener_, POLLIN, 0};
                if (::poll(&p, 1, 3000) <= 0) return;
                const Line line{::accept(listener_, nullptr, nullptr)};
                behaviour(line);
                ::close(line.fd);
            }
        });
    }
    ~RudeBox() {
        if (thread_.joinable()) thread_.join();
        ::close(listener_);
    }
    RudeBox(const RudeBox&) = delete;
    RudeBox& operator=(const RudeBox&) = delete;
    Endpoint at() const { return {"127.0.0.1", port_}; }

private:
    int listener_ = -1;
    std::uint16_t port_ = 0;
    std::jthread thread_;
};

}  // namespace fettle::link::testing
