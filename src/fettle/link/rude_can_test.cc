// Boxes that are slow, rude, lying or not there, on a CAN bus of this machine: one row each, with what must come of it.
// All run at the same time, with the standard's times scaled down.
#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <chrono>
#include <future>
#include <thread>

#include "fettle/base/text.h"
#include "fettle/link/client.h"
#include "reference_test_help.h"

namespace fettle::link {
namespace {

using testing::bytes_of;

// A box on a UDP port: plain sockets, the form of frames written out again.
class RudeCan {
public:
    RudeCan() {
        fd_ = ::socket(AF_INET, SOCK_DGRAM, 0);
        sockaddr_in a{};
        a.sin_family = AF_INET;
        a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t n = sizeof a;
        if (::bind(fd_, reinterpret_cast<sockaddr*>(&a), n) != 0) throw std::runtime_error("no socket");
        ::getsockname(fd_, reinterpret_cast<sockaddr*>(&a), &n);
        port = ntohs(a.sin_port);
    }
    ~RudeCan() { ::close(fd_); }
    std::uint16_t port = 0;

    // The payload of the next frame in hex, shortened to `most` bytes; empty when none comes for so long.
    std::string hear(std::size_t most = 8, int ms = 3000) {
        pollfd p{fd_, POLLIN, 0};
        if (::poll(&p, 1, ms) <= 0) return {};
        Byte b[128];
        socklen_t size = sizeof tester_;
        const auto n = ::recvfrom(fd_, b, sizeof b, 0, reinterpret_cast<sockaddr*>(&tester_), &size);
        if (n < 8) return {};
        return hex(ByteView(b + 8, std::min(static_cast<std::size_t>(n) - 8, most)));
    }
    void say(const std::string& payload, std::uint32_t id = 0x7A9) const {
        const Bytes data = bytes_of(payload);
        Bytes b;
        append_be32(b, id);
        b.push_back(static_cast<Byte>(data.size()));
        append(b, Bytes{0, 0, 0});
        append(b, data);
        raw(b);
    }
    void raw(const Bytes& b) const {
        (void)::sendto(fd_, b.data(), b.size(), 0, reinterpret_cast<const sockaddr*>(&tester_), sizeof tester_);
    }

private:
    int fd_;
    sockaddr_in tester_{};
};

struct Rude {
    const char* what;
    std::vector<const char*> says;  // after the question, or the first frame of it; "~50": a pause of that many ms;
                                    // "<": waits for a frame of the tester; "@7AA 02 ...": from another identifier
    bool long_question = false;     // five identifiers instead of one
    Said said = Said::value;
    const char* why = "";  // begins so; for a value: the whole answer in hex
};

const Rude boxes[] = {
    {"a plain answer", {"06 62 F1 95 31 2E 32"}, false, Said::value, "62f195312e32"},
    {"an answer of three frames",
     {"10 12 62 F1 95 01 02 03", "<", "21 04 05 06 07 08 09 0A", "22 0B 0C 0D 0E 0F"},
     false,
     Said::value,
     "62f1950102030405060708090a0b0c0d0e0f"},
    {"says nothing", {}, false, Said::no_answer, "no answer in time"},
    {"answers with another identifier", {"@7AA 06 62 F1 95 31 2E 32"}, false, Said::no_answer, "no answer in time"},
    {"answers with 29 bits", {"@800007A9 06 62 F1 95 31 2E 32"}, false, Said::no_answer, "no answer in time"},
    {"sends a remote frame, then the answer",
     {"@400007A9 06 62 F1 95 39 39 39", "04 62 F1 95 31"},
     false,
     Said::value,
     "62f19531"},
    {"a single frame of length 0", {"00", "04 62 F1 95 31"}, false, Said::value, "62f19531"},
    {"a single frame longer than its frame", {"07 62 F1 95 39", "04 62 F1 95 31"}, false, Said::value, "62f19531"},
    {"reserved frame types", {"40 62 F1 95", "F0", "04 62 F1 95 31"}, false, Said::value, "62f19531"},
    {"the rest before the beginning", {"21 39 39 39", "04 62 F1 95 31"}, false, Said::value, "62f19531"},
    {"a flow control nobody asked for", {"30 00 00", "04 62 F1 95 31"}, false, Said::value, "62f19531"},
    {"0x78, then a long answer",
     {"03 7F 22 78", "~30", "10 08 62 F1 95 01 02 03", "<", "21 04 05"},
     false,
     Said::value,
     "62f1950102030405"},
    {"refuses", {"03 7F 22 31"}, false, Said::refused, "requestOutOfRange (0x31)"},
    {"begins an answer and refuses",
     {"10 12 62 F1 95 01 02 03", "<", "03 7F 22 33"},
     false,
     Said::refused,
     "securityAccessDenied (0x33)"},
    {"begins an answer and begins again",
     {"10 12 62 F1 95 39 39 39", "<", "10 08 62 F1 95 01 02 03", "<", "21 04 05"},
     false,
     Said::value,
     "62f1950102030405"},
    {"a wrong sequence number",
     {"10 12 62 F1 95 01 02 03", "<", "22 04 05 06 07 08 09 0A"},
     false,
     Said::nonsense,
     "a frame of the answer is missing or out of order"},
    {"a frame lost in the middle",
     {"10 14 62 F1 95 01 02 03", "<", "21 04 05 06 07 08 09 0A", "23 12 13 14 15 16 17 18"},
     false,
     Said::nonsense,
     "a frame of the answer is missing or out of order"},
    {"a frame doubled",
     {"10 14 62 F1 95 01 02 03", "<", "21 04 05 06 07 08 09 0A", "21 04 05 06 07 08 09 0A"},
     false,
     Said::nonsense,
     "a frame of the answer is missing or out of order"},
    {"the last frame lost",
     {"10 12 62 F1 95 01 02 03", "<", "21 04 05 06 07 08 09 0A"},
     false,
     Said::no_answer,
     "the answer broke off: the next frame did not come in time"},
    {"stops after the first frame",
     {"10 12 62 F1 95 01 02 03", "<"},
     false,
     Said::no_answer,
     "the answer broke off: the next frame did not come in time"},
    {"claims 4 GB",
     {"10 00 FF FF FF FF 62 F1", "<"},
     false,
     Said::nonsense,
     "the message is too long for its receiver"},
    {"another identifier echoed", {"04 62 F1 87 39"}, false, Said::nonsense, "it sent 62f18739 to the request 22f195"},
    {"takes a long question", {"30 00 00", "<", "04 62 F1 95 31"}, true, Said::value, "62f19531"},
    {"takes it frame by frame", {"30 01 00", "<", "04 62 F1 95 31"}, true, Said::value, "62f19531"},
    {"wants the longest pause", {"30 00 FA", "<", "04 62 F1 95 31"}, true, Said::value, "62f19531"},
    {"lets the long question wait for ever",
     {"31 00 00", "31 00 00", "31 00 00", "31 00 00", "31 00 00", "31 00 00", "31 00 00", "31 00 00", "31 00 00",
      "31 00 00", "31 00 00"},
     true,
     Said::no_answer,
     "not delivered: it said \"wait\" too often"},
    {"waits a little, then takes it",
     {"31 00 00", "~30", "30 00 00", "<", "04 62 F1 95 31"},
     true,
     Said::value,
     "62f19531"},
    {"has no room for it",
     {"32 00 00"},
     true,
     Said::no_answer,
     "not delivered: the message is too long for its receiver"},
    {"a flow control of no known kind",
     {"35 00 00"},
     true,
     Said::no_answer,
     "not delivered: it sent a flow control of no known kind"},
    {"no flow control", {}, true, Said::no_answer, "not delivered: no flow control came in time"},
    {"half a flow control", {"30 00"}, true, Said::no_answer, "not delivered: no flow control came in time"},
};

Reply ask(const Rude& rude) {
    RudeCan box;
    std::jthread acting([&] {
        if (box.hear().empty()) return;
        for (std::string s : rude.says) {
            if (s == "<") {
                box.hear();
            } else if (s[0] == '~') {
                std::this_thread::sleep_for(std::chrono::milliseconds(std::stol(s.substr(1))));
            } else if (s[0] == '@') {
                const auto blank = s.find(' ');
                box.say(s.substr(blank + 1),
                        static_cast<std::uint32_t>(std::stoul(s.substr(1, blank - 1), nullptr, 16)));
            } else {
                box.say(s);
            }
        }
    });
    const bool answered = rude.said == Said::value || rude.said == Said::refused;
    Timing t;
    t.isotp_ms = t.p2_ms = t.p2star_ms = answered ? 5000 : 250;
    t.busy_pause_ms = 5;
    auto c = Connection::open_to(
        parse_box_address("can://127.0.0.1:" + std::to_string(box.port) + "/0x7a1:0x7a9").value(), {}, t);
    if (!c) return {Said::no_answer, {}, 0, c.error().message()};
    const std::uint16_t dids[] = {0xF195, 0xF196, 0xF197, 0xF198, 0xF199};
    return c->ask(0x7A1, uds::ReadRequest::identifiers(std::span(dids).first(rude.long_question ? 5 : 1)));
}

TEST(RudeCan, EachEndsInItsTimeWithTheRightWords) {
    std::vector<std::future<Reply>> running;
    for (const Rude& rude : boxes) running.push_back(std::async(std::launch::async, [&rude] { return ask(rude); }));
    for (std::size_t i = 0; i < std::size(boxes); ++i) {
        SCOPED_TRACE(boxes[i].what);
        const Reply r = running[i].get();
        EXPECT_EQ(r.said, boxes[i].said) << r.why;
        if (boxes[i].said == Said::value) {
            EXPECT_EQ(hex(r.data), boxes[i].why);
        } else {
            EXPECT_TRUE(r.why.starts_with(boxes[i].why)) << r.why;
            EXPECT_TRUE(r.data.empty());
        }
    }
}

TEST(RudeCan, NobodyOnTheBus) {
    std::uint16_t port = 0;
    {
        const RudeCan gone;
        port = gone.port;
    }
    Timing t;
    t.isotp_ms = t.p2_ms = 100;
    auto c = Connection::open_to(parse_box_address("can://127.0.0.1:" + std::to_string(port) + "/0x7a1:0x7a9").value(),
                                 {}, t);
    ASSERT_TRUE(c);
    EXPECT_EQ(c->read(0x7A1, 0xF195).said, Said::no_answer);
    EXPECT_EQ(c->read(0x7A1, 0xF195).said, Said::no_answer);
}

TEST(RudeCan, ABusThatIsNotThereIsToldAtOnce) {
    for (const auto* text : {"can://nosuchbus0/0x7a1:0x7a9", "can://nosuchbus0/0x7a1:0x7a9,kernel"}) {
        const auto c = Connection::open_to(parse_box_address(text).value());
        ASSERT_FALSE(c);
        EXPECT_EQ(c.error().code, "link-not-reachable");
    }
}

}  // namespace
}  // namespace fettle::link
