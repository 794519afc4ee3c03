// The stand-in's messages as programs see them that nobody here wrote: Scapy as a client, tshark as a reader. Skipped
// where they are not installed.
#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include "../bench_test_help.h"
#include "../pcap_test_help.h"
#include "fettle/base/source_path.h"
#include "fettle/base/text.h"
#include "fettle/standin/server.h"

namespace fettle::standin {
namespace {

using namespace testing;

struct Ran {
    int code = -1;
    std::string out;
};
Ran run(const std::string& command) {
    Ran r;
    FILE* p = ::popen((command + " 2>&1").c_str(), "r");
    if (!p) return r;
    char buffer[4096];
    for (std::size_t n = 0; (n = std::fread(buffer, 1, sizeof buffer, p)) > 0;) r.out.append(buffer, n);
    const int status = ::pclose(p);
    r.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    return r;
}
const std::string interop = source_path("tests/interop/");

TEST(Interop, ScapyAsClientFindsEverythingAsItShouldBe) {
    const auto server = Server::start(set_at("27.1.110"), "127.0.0.1", 0).value();
    const Ran r = run("/usr/bin/python3 " + interop + "doip_scapy_client.py " + std::to_string(server->port()));
    if (r.code == 77) GTEST_SKIP() << "skipped: " << r.out;
    EXPECT_EQ(r.code, 0) << r.out;
    EXPECT_NE(r.out.find("checks, 0 wrong"), std::string::npos) << r.out;
    EXPECT_GT(std::atoi(r.out.c_str()), 50) << r.out;
}

// A plain socket of its own, so that what is recorded went over the wire.
struct Wire {
    int fd = -1;
    Capture& capture;
    bool tcp;
    Wire(Capture& c, int type, std::uint16_t port)
        : fd(::socket(AF_INET, type, 0)), capture(c), tcp(type == SOCK_STREAM) {
        sockaddr_in a{};
        a.sin_family = AF_INET;
        a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        a.sin_port = htons(port);
        EXPECT_EQ(::connect(fd, reinterpret_cast<sockaddr*>(&a), sizeof a), 0);
    }
    ~Wire() { ::close(fd); }
    void record(bool from_box, ByteView b) { tcp ? capture.tcp(from_box, b) : capture.udp(from_box, b); }
    // Sends and records, then everything that comes back within a moment.
    void exchange(const char* request) {
        const Bytes q = *unhex(request);
        record(false, q);
        EXPECT_EQ(::send(fd, q.data(), q.size(), MSG_NOSIGNAL), static_cast<ssize_t>(q.size()));
        for (pollfd p{fd, POLLIN, 0}; ::poll(&p, 1, 25) > 0;) {
            Byte buffer[1400];
            const auto n = ::recv(fd, buffer, sizeof buffer, 0);
            if (n <= 0) break;
            record(true, ByteView(buffer, static_cast<std::size_t>(n)));
        }
    }
};

TEST(Interop, TsharkReadsEveryMessageWithoutAMalformedMark) {
    const auto server =
        Server::start(set_at("27.1.110", 1, [](StartState& s) { s.partners_missing = true; }), "127.0.0.1", 0).value();
    const auto file = work_folder() / "link.pcap";
    {
        Capture capture(file.string());
        {
            Wire udp(capture, SOCK_DGRAM, server->port());
            udp.exchange("02fd000100000000");
            udp.exchange("02fd123400000000");  // an unknown type, for the header nack
        }
        Wire tcp(capture, SOCK_STREAM, server->port());
        tcp.exchange("02fd0005000000070e800000000000");
        for (const char* uds : {"22f187", "22f195", "220200", "221234", "1001", "1003", "1902ff", "3e00", "14ffffff"}) {
            const std::string body = std::string("0e801041") + uds;
            tcp.exchange(("02fd8001000000" + hex(Bytes{static_cast<Byte>(body.size() / 2)}) + body).c_str());
        }
        tcp.exchange("02fd8001000000060e8022223e00");  // no such box
    }
    const Ran r = run("bash " + interop + "tshark_read.sh " + file.string());
    if (r.code == 77) GTEST_SKIP() << "skipped: " << r.out;
    ASSERT_EQ(r.code, 0) << r.out;
    EXPECT_NE(r.out.find("malformed 0\n"), std::string::npos) << r.out;
    // It saw what was sent, and as what: announcement, activation, acknowledgement, answers, refusals.
    for (const char* type : {"0x0004", "0x0006", "0x8001", "0x8002", "0x8003", "0x0000"})
        EXPECT_NE(r.out.find(type), std::string::npos) << type << "\n" << r.out;
    int answers = 0;
    for (const auto& line : split(r.out, '\n'))
        if (line.find("0x8002") != std::string::npos || line.find("0x8001") != std::string::npos)
            answers += line.find("UDS") != std::string::npos;
    EXPECT_GE(answers, 9) << r.out;
}

// The check itself can fail: an announcement of ten bytes, and the dissector marks it.
TEST(Interop, TsharkMarksABrokenMessage) {
    const auto file = work_folder() / "broken.pcap";
    {
        Capture capture(file.string());
        capture.udp(true, *unhex("02fd00040000000a5a5a3946455454485530"));
    }
    const Ran r = run("bash " + interop + "tshark_read.sh " + file.string());
    if (r.code == 77) GTEST_SKIP() << "skipped: " << r.out;
    EXPECT_EQ(r.out.find("malformed 0\n"), std::string::npos) << r.out;
}

}  // namespace
}  // namespace fettle::standin
