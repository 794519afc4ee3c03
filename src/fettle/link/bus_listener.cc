#include "fettle/link/bus_listener.h"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <netdb.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>

#include "fettle/link/doip.h"

namespace fettle::link {
namespace {

bool only_a_tester_sends(const doip::Body& b) {
    return std::holds_alternative<doip::IdentRequest>(b) || std::holds_alternative<doip::IdentRequestEid>(b) ||
           std::holds_alternative<doip::IdentRequestVin>(b) || std::holds_alternative<doip::StatusRequest>(b) ||
           std::holds_alternative<doip::PowerRequest>(b);
}

std::uint16_t port_of(const sockaddr_storage& a) {
    return ntohs(a.ss_family == AF_INET6 ? reinterpret_cast<const sockaddr_in6&>(a).sin6_port
                                         : reinterpret_cast<const sockaddr_in&>(a).sin_port);
}

}  // namespace

Result<BusListener> BusListener::open(const Endpoint& at) {
    const auto no = [&](const std::string& why) {
        return outside_error(
            "bus-not-heard", text_of(at), why,
            "give an address of this machine in numbers, e.g. 0.0.0.0:13400; the run is watched all the same");
    };
    addrinfo hints{}, *found = nullptr;
    hints.ai_socktype = SOCK_DGRAM;
    hints.ai_flags = AI_NUMERICHOST | AI_NUMERICSERV | AI_PASSIVE;
    const std::string host = at.host == "localhost" ? "127.0.0.1" : at.host;
    if (::getaddrinfo(host.c_str(), std::to_string(at.port).c_str(), &hints, &found) != 0)
        return no("the host is no address in numbers");
    const int fd = ::socket(found->ai_family, SOCK_DGRAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    const int one = 1;
    // Broadcasts reach every listener of the port; our own link commands and other programs keep theirs.
    if (fd >= 0) ::setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
    const bool bound = fd >= 0 && ::bind(fd, found->ai_addr, found->ai_addrlen) == 0;
    const std::string why = std::strerror(errno);
    ::freeaddrinfo(found);
    if (!bound) {
        if (fd >= 0) ::close(fd);
        return no("the port cannot be listened to: " + why);
    }
    sockaddr_storage own{};
    socklen_t n = sizeof own;
    ::getsockname(fd, reinterpret_cast<sockaddr*>(&own), &n);
    return BusListener(fd, port_of(own));
}

BusListener::BusListener(BusListener&& other) noexcept : fd_(other.fd_), port_(other.port_) {
    other.fd_ = -1;
}

BusListener::~BusListener() {
    if (fd_ >= 0) ::close(fd_);
}

std::vector<std::string> BusListener::take() {
    std::vector<std::string> out;
    std::array<Byte, 2048> buffer;
    for (int i = 0; i < 256 && out.size() < 64; ++i) {
        sockaddr_storage from{};
        socklen_t size = sizeof from;
        const auto n = ::recvfrom(fd_, buffer.data(), buffer.size(), 0, reinterpret_cast<sockaddr*>(&from), &size);
        if (n < 0) break;
        const auto m = doip::decode(ByteView(buffer).first(static_cast<std::size_t>(n)));
        if (!m || !only_a_tester_sends(m->body)) continue;
        std::array<char, INET6_ADDRSTRLEN> host{};
        const void* address = from.ss_family == AF_INET6
                                  ? static_cast<const void*>(&reinterpret_cast<const sockaddr_in6&>(from).sin6_addr)
                                  : static_cast<const void*>(&reinterpret_cast<const sockaddr_in&>(from).sin_addr);
        ::inet_ntop(from.ss_family, address, host.data(), host.size());
        out.push_back(fmt::format("{} from {}: another tester is on the network",
                                  doip::type_name(doip::type_of(m->body)), host.data()));
    }
    return out;
}

}  // namespace fettle::link
