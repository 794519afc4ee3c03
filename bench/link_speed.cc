// How fast is the link? Both sides of each ratio in one run; medians of five turns taken by turns.
//
//   link_speed [SCAPY_CLIENT.py]
//
// doip    0x22 round trips over DoIP on loopback against a minimal answering peer, against a bare TCP ping-pong of the
//         same bytes with the same peer (goal: at least 0.6), and against a Scapy client (goal: at least 20 times).
// isotp   4,095-byte messages over a bus in memory, both ends in this thread (goal: at least 50 MB/s).
#include <arpa/inet.h>
#include <fmt/core.h>
#include <netinet/tcp.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <string>
#include <thread>
#include <vector>

#include "fettle/link/client.h"
#include "fettle/link/isotp_test_help.h"

namespace {

using namespace fettle;
using namespace fettle::link;
using Clock = std::chrono::steady_clock;

double seconds_since(Clock::time_point t) {
    return std::chrono::duration<double>(Clock::now() - t).count();
}
double median(std::vector<double> v) {
    std::sort(v.begin(), v.end());
    return v[v.size() / 2];
}
[[noreturn]] void fail(const char* what) {
    fmt::print(stderr, "{}\n", what);
    std::exit(1);
}

const Bytes request{0x02, 0xFD, 0x80, 0x01, 0, 0, 0, 7, 0x0E, 0x80, 0x10, 0x41, 0x22, 0xF1, 0x95};
const Bytes activated{0x02, 0xFD, 0x00, 0x06, 0, 0, 0, 9, 0x0E, 0x80, 0x10, 0x41, 0x10, 0, 0, 0, 0};
const Bytes answer = [] {  // acknowledgement and answer in one segment
    Bytes b{0x02, 0xFD, 0x80, 0x02, 0, 0, 0, 5, 0x10, 0x41, 0x0E, 0x80, 0x00};
    append(b, Bytes{0x02, 0xFD, 0x80, 0x01, 0, 0, 0, 15, 0x10, 0x41, 0x0E, 0x80, 0x62, 0xF1, 0x95});
    append(b, as_bytes("27.3.118"));
    return b;
}();

bool exactly(int fd, Byte* to, std::size_t n) {
    while (n > 0) {
        const auto got = ::recv(fd, to, n, 0);
        if (got <= 0) return false;
        to += got;
        n -= static_cast<std::size_t>(got);
    }
    return true;
}

// A peer in a process of its own: answers activation, then every 15 bytes with the same bytes, after a pause. Its
// connections one after another.
class Peer {
public:
    explicit Peer(std::chrono::microseconds pause = {}) {
        const int listener = ::socket(AF_INET, SOCK_STREAM, 0);
        sockaddr_in a{};
        a.sin_family = AF_INET;
        a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t n = sizeof a;
        if (::bind(listener, reinterpret_cast<sockaddr*>(&a), n) != 0 || ::listen(listener, 8) != 0 ||
            ::getsockname(listener, reinterpret_cast<sockaddr*>(&a), &n) != 0)
            fail("no loopback socket");
        port = ntohs(a.sin_port);
        pid_ = ::fork();
        if (pid_ == 0) {
            while (true) serve(::accept(listener, nullptr, nullptr), pause);
        }
        ::close(listener);
    }
    ~Peer() {
        ::kill(pid_, SIGKILL);
        ::waitpid(pid_, nullptr, 0);
    }
    Peer(const Peer&) = delete;
    Peer& operator=(const Peer&) = delete;
    std::uint16_t port = 0;

private:
    static void serve(int fd, std::chrono::microseconds pause) {
        const int on = 1;
        ::setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
        Byte head[8], rest[64];
        while (exactly(fd, head, 8)) {
            const std::uint32_t length = load_be32(head, 4);
            if (length > sizeof rest || !exactly(fd, rest, length)) break;
            if (pause.count() > 0 && head[2] == 0x80) std::this_thread::sleep_for(pause);
            const Bytes& out = head[2] == 0x80 ? answer : activated;
            if (::send(fd, out.data(), out.size(), MSG_NOSIGNAL) < 0) break;
        }
        ::close(fd);
    }
    pid_t pid_ = -1;
};

double bare(const Peer& peer, int times) {
    const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in a{};
    a.sin_family = AF_INET;
    a.sin_port = htons(peer.port);
    a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    if (::connect(fd, reinterpret_cast<sockaddr*>(&a), sizeof a) != 0) fail("no connection");
    const int on = 1;
    ::setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
    Byte got[64];
    const auto began = Clock::now();
    for (int i = 0; i < times; ++i) {
        if (::send(fd, request.data(), request.size(), 0) < 0 || !exactly(fd, got, answer.size()))
            fail("the peer is gone");
    }
    const double s = seconds_since(began);
    ::close(fd);
    return times / s;
}

double ours(const Peer& peer, int times) {
    auto c = Connection::open({"127.0.0.1", peer.port});
    if (!c) fail("not opened");
    const auto began = Clock::now();
    for (int i = 0; i < times; ++i) {
        const Reply r = c->read(0x1041, 0xF195);
        if (r.said != Said::value || r.data.size() != 8) fail("a wrong answer");
    }
    return times / seconds_since(began);
}

double scapy(const Peer& peer, const std::string& client, int times) {
    const std::string command = fmt::format("/usr/bin/python3 '{}' {} {}", client, peer.port, times);
    FILE* p = ::popen(command.c_str(), "r");
    double rate = 0;
    if (!p || std::fscanf(p, "%lf", &rate) != 1) rate = 0;
    if (p) ::pclose(p);
    return rate;
}

void doip_speed(const std::string& client) {
    const Peer peer;
    constexpr int times = 20000;
    std::vector<double> a, b, c;
    for (int turn = 0; turn < 5; ++turn) {
        a.push_back(bare(peer, times));
        b.push_back(ours(peer, times));
        if (!client.empty() && turn < 3) c.push_back(scapy(peer, client, 1000));
    }
    fmt::print("doip    bare {:.0f}/s  ours {:.0f}/s  ratio {:.2f} (goal 0.6)\n", median(a), median(b),
               median(b) / median(a));
    if (!c.empty() && median(c) > 0)
        fmt::print("        Scapy {:.0f}/s  ours is {:.0f} times as many (goal 20)\n", median(c),
                   median(b) / median(c));
    else
        fmt::print("        Scapy: skipped, not installed or not named\n");
}

void isotp_speed() {
    for (const bool fd : {false, true}) {
        link::isotp::Config c;
        c.fd = fd;
        c.frame_bytes = fd ? 64 : 8;
        const Bytes message(4095, 0x54);
        std::vector<double> rates;
        for (int turn = 0; turn < 5; ++turn) {
            link::isotp::testing::Bus bus(c, c);
            constexpr int times = 5000;
            const auto began = Clock::now();
            for (int i = 0; i < times; ++i) {
                bus.left.sender.start(message, bus.now);
                bus.run();
                if (link::isotp::testing::got(bus.right.receiver).size() != message.size()) fail("a message was lost");
            }
            rates.push_back(times * 4095.0 / 1e6 / seconds_since(began));
        }
        fmt::print("isotp   {}: {:.0f} MB/s (goal 50)\n",
                   fd ? "CAN FD, 64 bytes a frame" : "classic CAN, 8 bytes a frame", median(rates));
    }
}

}  // namespace

int main(int argc, char** argv) {
    doip_speed(argc > 1 ? argv[1] : "");
    isotp_speed();
}
