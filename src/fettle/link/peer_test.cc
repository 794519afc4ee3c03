// The client against a DoIP/UDS head unit that shares no line with this project (its messages are built by Scapy). It
// stands outside the tree: FETTLE_PEERS names its folder, else the folder beside the checkout is looked at. Skipped
// where it, or Scapy, is not there.
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <string>

#include "fettle/base/source_path.h"
#include "fettle/link/client.h"
#include "fettle/link/recording.h"

namespace fettle::link {
namespace {

constexpr std::uint16_t unit = 0x1010, gateway = 0x1000;

// The peer as a child process of its own; ended when the test is over.
class Peer {
public:
    Peer() {
        const char* named = std::getenv("FETTLE_PEERS");
        const std::filesystem::path folder = named ? named : source_path("../shared/peers");
        const std::string script = (folder / "doip_uds_peer.py").string();
        std::array<int, 2> ends{};
        if (!std::filesystem::exists(script) || ::pipe(ends.data()) != 0) return;
        pid_ = ::fork();
        if (pid_ == 0) {
            ::dup2(ends[1], STDOUT_FILENO);
            ::close(ends[0]);
            ::execl("/usr/bin/python3", "python3", script.c_str(), "--port", "0", "--max-seconds", "30", nullptr);
            ::_exit(127);
        }
        ::close(ends[1]);
        std::string line;
        for (char c = 0; ::read(ends[0], &c, 1) == 1 && c != '\n';) line += c;
        ::close(ends[0]);
        const std::string ready = "READY 127.0.0.1:";
        if (line.rfind(ready, 0) == 0) port_ = static_cast<std::uint16_t>(std::stoi(line.substr(ready.size())));
    }
    ~Peer() {
        if (pid_ <= 0) return;
        ::kill(pid_, SIGTERM);
        ::waitpid(pid_, nullptr, 0);
    }
    Endpoint at() const { return {"127.0.0.1", port_}; }
    bool there() const { return port_ != 0; }

private:
    pid_t pid_ = -1;
    std::uint16_t port_ = 0;
};

// One start of the peer for the whole walk: starting it takes most of the time.
TEST(Peer, IdentificationActivationIdentifiersAndFaultMemory) {
    const Peer peer;
    if (!peer.there()) GTEST_SKIP() << "skipped: no peer here";
    Timing t;
    t.control_ms = t.ack_ms = 1500;

    const auto found = find(peer.at(), t);
    ASSERT_TRUE(found);
    ASSERT_EQ(found->size(), 1u);
    EXPECT_EQ(found->front().says.vin, "ZZ9FETTLE0PEER001");
    EXPECT_EQ(found->front().says.address, gateway);

    Options stranger;
    stranger.tester = 0x0D00;
    EXPECT_EQ(Connection::open(peer.at(), stranger, t).error().code, "link-refused");

    // All of it is recorded, and an open dissector looks at every frame of both sides at the end.
    const std::string file =
        (std::filesystem::temp_directory_path() / ("fettle-peer-" + std::to_string(::getpid()))).string();
    Options recorded;
    recorded.record = FileRecorder::create(file, [] { return std::int64_t{1'795'600'000'000'000}; }).value();
    ASSERT_TRUE(find(peer.at(), t, {}, recorded.record.get()));
    auto c = Connection::open(peer.at(), recorded, t);
    ASSERT_TRUE(c) << c.error().message();
    EXPECT_EQ(c->entity(), gateway);
    EXPECT_EQ(as_text(c->read(unit, 0xF190).data), "ZZ9FETTLE0PEER001");
    EXPECT_EQ(as_text(c->read(unit, 0xF187).data), "HU-8000-21");
    EXPECT_EQ(as_text(c->read(unit, 0xF195).data), "SW 4.09");
    const Reply refused = c->read(unit, 0x1234);
    EXPECT_EQ(refused.said, Said::refused);
    EXPECT_EQ(refused.nrc, 0x31);

    const auto codes = c->read_codes(unit);
    ASSERT_EQ(codes.reply.said, Said::value);
    ASSERT_EQ(codes.list.codes.size(), 2u);
    EXPECT_EQ(uds::code_text(codes.list.codes[0].number), "U0140-00");
    EXPECT_EQ(codes.list.codes[0].status, 0x2F);
    EXPECT_EQ(uds::code_text(codes.list.codes[1].number), "B1A01-15");
    EXPECT_EQ(codes.list.codes[1].status, 0x28);
    EXPECT_TRUE(c->read_codes(unit, 0x01).list.codes.size() == 1);  // by status mask

    EXPECT_EQ(c->ask(unit, uds::ReadRequest::from_bytes(Bytes{0x10, 0x03}).value()).said, Said::value);
    EXPECT_EQ(c->ask(unit, uds::ReadRequest::tester_present()).said, Said::value);
    EXPECT_EQ(c->ask(unit, uds::ReadRequest::tester_present(true)).said, Said::value);
    const Reply nobody = c->read(0x1099, 0xF195);
    EXPECT_EQ(nobody.said, Said::no_answer);
    EXPECT_EQ(as_text(c->read(unit, 0xF195).data), "SW 4.09");
    EXPECT_EQ(c->read_snapshot(unit, 0xC14000).said, Said::refused);   // it has none
    EXPECT_EQ(c->clear(unit, uds::ClearRequest(0x9A0115)).nrc, 0x31);  // it clears everything only
    EXPECT_EQ(c->clear(unit, uds::ClearRequest(uds::ClearRequest::all)).said, Said::value);
    EXPECT_TRUE(c->read_codes(unit).list.codes.empty());

    std::string seen;
    if (FILE* p = ::popen(("bash " + source_path("tests/interop/tshark_read.sh") + " " + file).c_str(), "r")) {
        std::array<char, 4096> buffer;
        for (std::size_t n = 0; (n = std::fread(buffer.data(), 1, buffer.size(), p)) > 0;)
            seen.append(buffer.data(), n);
        ::pclose(p);
    }
    std::filesystem::remove(file);
    if (seen.find("skipped") != std::string::npos) GTEST_SKIP() << seen;
    EXPECT_NE(seen.find("malformed 0"), std::string::npos) << seen;
    EXPECT_GT(std::count(seen.begin(), seen.end(), '\n'), 30) << seen;
    EXPECT_NE(seen.find("0x8001 UDS"), std::string::npos) << seen;
}

}  // namespace
}  // namespace fettle::link
