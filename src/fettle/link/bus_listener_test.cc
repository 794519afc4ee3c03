#include "fettle/link/bus_listener.h"

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <chrono>
#include <thread>

#include "fettle/base/bytes.h"

namespace fettle::link {
namespace {

// Sends one datagram to a loopback port from a socket of its own.
void send(std::uint16_t port, const Bytes& bytes) {
    const int fd = ::socket(AF_INET, SOCK_DGRAM, 0);
    sockaddr_in to{};
    to.sin_family = AF_INET;
    to.sin_port = htons(port);
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    ASSERT_EQ(::sendto(fd, bytes.data(), bytes.size(), 0, reinterpret_cast<sockaddr*>(&to), sizeof to),
              static_cast<ssize_t>(bytes.size()));
    ::close(fd);
}
// Loopback keeps order: once the last one sent was heard, all before it were looked at.
std::vector<std::string> heard(BusListener& l, std::size_t n) {
    std::vector<std::string> all;
    for (int i = 0; i < 100 && all.size() < n; ++i) {
        for (auto& s : l.take()) all.push_back(std::move(s));
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
    return all;
}
std::uint16_t free_port() {
    const int fd = ::socket(AF_INET, SOCK_DGRAM, 0);
    sockaddr_in a{};
    a.sin_family = AF_INET;
    a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t n = sizeof a;
    ::bind(fd, reinterpret_cast<sockaddr*>(&a), n);
    ::getsockname(fd, reinterpret_cast<sockaddr*>(&a), &n);
    ::close(fd);
    return ntohs(a.sin_port);
}

// Bytes written out by hand from ISO 13400-2: version FD/02, payload type, length.
const Bytes kWho = {0x02, 0xFD, 0x00, 0x01, 0, 0, 0, 0};
const Bytes kStatus = {0x02, 0xFD, 0x40, 0x01, 0, 0, 0, 0};

TEST(BusListener, HearsWhatOnlyATesterSends) {
    auto l = BusListener::open({"127.0.0.1", free_port()});
    ASSERT_TRUE(l);
    Bytes announcement = {0x02, 0xFD, 0x00, 0x04, 0, 0, 0, 33};
    announcement.resize(8 + 33, 0x30);
    send(l->port(), announcement);  // a box says that it is back: that is the run
    send(l->port(), {0x01, 0x02, 0x03});
    send(l->port(), {});
    send(l->port(), kWho);
    send(l->port(), kStatus);
    const auto all = heard(*l, 2);
    ASSERT_EQ(all.size(), 2u);
    EXPECT_NE(all[0].find("from 127.0.0.1: another tester"), std::string::npos) << all[0];
    EXPECT_TRUE(l->take().empty());
}
TEST(BusListener, AFloodIsBounded) {
    auto l = BusListener::open({"127.0.0.1", free_port()});
    ASSERT_TRUE(l);
    for (int i = 0; i < 200; ++i) send(l->port(), kWho);
    EXPECT_LE(l->take().size(), 64u);
}
TEST(BusListener, WhereNobodyCanListenIsSaid) {
    EXPECT_EQ(BusListener::open({"192.0.2.1", 13400}).error().code, "bus-not-heard");  // not ours (RFC 5737)
    EXPECT_EQ(BusListener::open({"nowhere.example", 13400}).error().code, "bus-not-heard");
}

}  // namespace
}  // namespace fettle::link
