// A recording holds what went over the wire, plays it back as it was, and can be stripped of what names a customer. How
// an outside reader takes it: tests/interop/tshark_recording.py.
#include "fettle/link/recording.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <thread>

#include "fettle/link/can_box.h"
#include "fettle/link/client.h"
#include "fettle/link/ethernet.h"
#include "fettle/link/pcapng.h"
#include "fettle/link/replay.h"
#include "rude_box_test_help.h"

namespace fettle::link {
namespace {

namespace fs = std::filesystem;
using testing::ack;
using testing::frame;
using testing::RudeBox;
using testing::says;
using testing::operator+;

struct Folder {
    fs::path path = fs::temp_directory_path() / ("fettle-recording-" + std::to_string(::getpid()));
    Folder() { fs::create_directories(path); }
    ~Folder() { fs::remove_all(path); }
    std::string file(const char* name) const { return (path / name).string(); }
};
Bytes whole_file(const std::string& path) {
    std::ifstream in(path, std::ios::binary);
    const std::string s((std::istreambuf_iterator<char>(in)), {});
    return {s.begin(), s.end()};
}
std::int64_t ticking() {
    static std::int64_t t = 1'795'600'000'000'000;
    return t += 1000;
}
bool holds(ByteView file, std::string_view text) {
    return std::search(file.begin(), file.end(), text.begin(), text.end()) != file.end();
}
// Turns a loop in a thread of its own while it lives.
struct Turning {
    explicit Turning(Loop& loop)
        : thread([&loop](const std::stop_token& stop) {
              while (!stop.stop_requested())
                  loop.turn(std::chrono::steady_clock::now() + std::chrono::milliseconds(10));
          }) {}
    std::jthread thread;
};

const Bytes vin_answer =
    says({0x62, 0xF1, 0x90, 'Z', 'Z', '9', 'F', 'E', 'T', 'T', 'L', 'E', '0', 'A', 'B', 'C', 'D', '0', '0', '7'});
const std::string vin = "ZZ9FETTLE0ABCD007";

// What a tester asks and gets, over DoIP: a value, a refusal, silence that a gateway tells, "pending", and a VIN.
std::vector<Reply> ask_all(Connection& c) {
    std::vector<Reply> out;
    for (const std::uint16_t did : {0xF195, 0x1234, 0xF190, 0xF195}) out.push_back(c.read(0x1041, did));
    out.push_back(c.read_codes(0x1041).reply);
    out.push_back(c.read(0x2222, 0xF195));
    return out;
}
void box(const RudeBox::Line& l) {
    l.activate();
    int f195 = 0;
    for (Bytes q = l.receive(); !q.empty(); q = l.receive()) {
        const std::string asked = hex(ByteView(q).subspan(12));
        if (load_be16(q, 10) == 0x2222) {
            l.send(frame(0x8003, {0x22, 0x22, 0x0E, 0x80, 0x03}));
        } else if (asked == "22f195") {
            l.send(ack() + says({0x7F, 0x22, 0x78}) + says({0x62, 0xF1, 0x95, static_cast<Byte>('1' + f195++)}));
        } else if (asked == "22f190") {
            l.send(ack() + vin_answer);
        } else if (asked == "1902ff") {
            l.send(ack() + says({0x59, 0x02, 0xFF, 0x9A, 0x4F, 0x13, 0x28}));
        } else {
            l.send(ack() + says({0x7F, 0x22, 0x31}));
        }
    }
}
void expect_equal(const std::vector<Reply>& a, const std::vector<Reply>& b) {
    ASSERT_EQ(a.size(), b.size());
    for (std::size_t i = 0; i < a.size(); ++i) {
        EXPECT_EQ(a[i].said, b[i].said) << i;
        EXPECT_EQ(hex(a[i].data), hex(b[i].data)) << i;
        EXPECT_EQ(a[i].why, b[i].why) << i;
    }
}

TEST(Recording, PlaysBackWhatWasSaidOverDoip) {
    const Folder folder;
    std::vector<Reply> then;
    {
        RudeBox real(box);
        Options o;
        o.record = FileRecorder::create(folder.file("a.pcapng"), ticking).value();
        auto c = Connection::open(real.at(), o);
        ASSERT_TRUE(c);
        then = ask_all(*c);
    }
    const Bytes file = whole_file(folder.file("a.pcapng"));
    auto recorded = read_recording(file).value();
    EXPECT_EQ(recorded.exchanges.size(), 6u);
    EXPECT_EQ(recorded.entity, 0x1041);
    EXPECT_FALSE(recorded.cut_short);
    EXPECT_EQ(recorded.exchanges[0].answers.size(), 2u);  // "pending" and the answer
    Loop loop;
    auto replay = Replay::start(loop, std::move(recorded), {"127.0.0.1", 0}).value();
    {
        const Turning turning(loop);
        auto c = Connection::open({"127.0.0.1", replay->port()});
        ASSERT_TRUE(c);
        expect_equal(then, ask_all(*c));
        EXPECT_EQ(as_text(then[0].data) + as_text(then[3].data), "12");  // asked twice, in the order of then
        const Reply unknown = c->read(0x1041, 0xF18C);
        EXPECT_EQ(unknown.said, Said::no_answer);  // nothing is made up
        EXPECT_EQ(unknown.why, "not delivered: the box cannot be reached through it (code 0x06)");
    }
    EXPECT_EQ(replay->not_in_it(), std::set<std::string>{"0x1041 22f18c"});
}

TEST(Recording, PlaysBackWhatWasSaidOnCan) {
    const Folder folder;
    for (const std::string form : {"0x7a1:0x7a9", "0x18da10f1:0x18daf110,fd"}) {
        const std::string path = folder.file(form.size() < 15 ? "b.pcapng" : "c.pcapng");
        auto at = parse_box_address("can://127.0.0.1:1/" + form).value();
        at.at.port = 0;
        Loop loop;
        const Bytes long_answer = [] {
            Bytes b{0x62, 0xF1, 0x95};
            for (int i = 0; i < 300; ++i) b.push_back(static_cast<Byte>(i));
            return b;
        }();
        auto real = CanBoxes::start(loop, {{at,
                                            [&](ByteView q) -> std::vector<Bytes> {
                                                if (q[0] == 0x22) return {{0x7F, 0x22, 0x78}, long_answer};
                                                return {{0x7F, q[0], 0x11}};
                                            }}})
                        .value();
        at.at.port = real->port();
        std::vector<Reply> then;
        const auto ask = [](Connection& c, std::uint16_t box_number) {
            return std::vector<Reply>{c.read(box_number, 0xF195), c.read_codes(box_number).reply};
        };
        {
            const Turning turning(loop);
            Options o;
            o.record = FileRecorder::create(path, ticking).value();
            auto c = Connection::open_to(at, o);
            ASSERT_TRUE(c);
            then = ask(*c, at.logical);
        }
        EXPECT_EQ(then[0].said, Said::value) << then[0].why;
        EXPECT_EQ(then[0].data.size(), 300u);
        Loop other;
        auto replay = Replay::start(other, read_recording(whole_file(path)).value(), {"127.0.0.1", 0}).value();
        ASSERT_EQ(replay->on_can().size(), 1u);
        EXPECT_EQ(replay->on_can()[0].can->request, at.can->request);
        EXPECT_EQ(replay->on_can()[0].can->answer, at.can->answer);
        const Turning turning(other);
        auto c = Connection::open_to(replay->on_can()[0]);
        ASSERT_TRUE(c);
        expect_equal(then, ask(*c, at.logical));
    }
}

// Right to erasure: what names the vehicle and the box is gone from the copy, and the rest plays back.
TEST(Recording, WithoutNames) {
    const Folder folder;
    {
        RudeBox real(box);
        Options o;
        o.record = FileRecorder::create(folder.file("d.pcapng"), ticking).value();
        auto c = Connection::open(real.at(), o);
        ASSERT_TRUE(c);
        (void)ask_all(*c);
        Bytes announcement =
            doip::encode(doip::Announcement{vin, 0x1041, {2, 4, 6, 8, 10, 12}, {2, 4, 6, 8, 10, 12}, 0, {}});
        o.record->udp(false, {"127.0.0.1", 5}, {"127.0.0.1", 13400}, announcement);
        CanFrame f;
        f.id = {0x7A9, false};
        f.size = 8;
        const Bytes serial{0x07, 0x62, 0xF1, 0x8C, 'S', 'N', '4', '2'};
        std::copy(serial.begin(), serial.end(), f.data.begin());
        o.record->can(false, f);
    }
    const Bytes file = whole_file(folder.file("d.pcapng"));
    ASSERT_TRUE(holds(file, vin));
    ASSERT_TRUE(holds(file, "SN42"));
    const Bytes clean = without_names(file).value();
    EXPECT_EQ(clean.size(), file.size());
    EXPECT_FALSE(holds(clean, vin));
    EXPECT_FALSE(holds(clean, "SN42"));
    EXPECT_FALSE(holds(clean, "\x02\x04\x06\x08\x0a\x0c"));
    const auto a = read_recording(file).value(), b = read_recording(clean).value();
    ASSERT_EQ(a.exchanges.size(), b.exchanges.size());
    EXPECT_EQ(b.vin, std::string(17, 'X'));
    for (std::size_t i = 0; i < a.exchanges.size(); ++i) {
        EXPECT_EQ(a.exchanges[i].question, b.exchanges[i].question);
        if (hex(a.exchanges[i].question) != "22f190") {
            EXPECT_EQ(a.exchanges[i].answers, b.exchanges[i].answers);
        }
    }
    EXPECT_FALSE(holds(without_names(file, {0xF195}).value(), "\x62\xF1\x95\x31"));
}

TEST(Recording, IsNeverWrittenOverAndACutOneIsReadToItsLastWholePacket) {
    const Folder folder;
    {
        auto r = FileRecorder::create(folder.file("e.pcapng"), ticking).value();
        r->opened(&r, {"127.0.0.1", 50000}, {"127.0.0.1", 13400});
        r->tcp(&r, true, doip::encode(doip::Diagnostic{0x0E80, 0x1041, {0x22, 0xF1, 0x95}}));
        r->tcp(&r, false, says({0x62, 0xF1, 0x95, '1'}));
        EXPECT_TRUE(r->failed().empty());
    }
    EXPECT_EQ(FileRecorder::create(folder.file("e.pcapng"), ticking).error().code, "recording-not-written");
    EXPECT_EQ(FileRecorder::create(folder.file("no/such/f"), ticking).error().code, "recording-not-written");
    const Bytes file = whole_file(folder.file("e.pcapng"));
    for (std::size_t n = 0; n < file.size(); ++n) {
        const auto r = read_recording(ByteView(file).first(n));
        if (r) {
            EXPECT_LE(r->exchanges.size(), 1u);
        }
    }
    EXPECT_TRUE(read_recording(ByteView(file).first(file.size() - 3))->cut_short);
    EXPECT_EQ(read_recording({}).error().code, "recording-not-understood");
}

// Sums of RFC 1071: the sum over header (and data with pseudo header) of a sound frame is FFFF.
TEST(Ethernet, SumsAreSound) {
    for (const auto* host : {"127.0.0.1", "::1"})
        for (const bool tcp : {true, false}) {
            Segment s{{host, 1000}, {host, 13400}, tcp};
            for (const std::size_t n : {0u, 1u, 7u, 100u}) {
                const Bytes f = ethernet_frame(s, Bytes(n, 0xA7));
                const auto t = take_ethernet(f);
                ASSERT_TRUE(t);
                EXPECT_EQ(t->size, n);
                EXPECT_EQ(t->segment.to.port, 13400);
                EXPECT_EQ(t->segment.from.host, host);
                const auto add = [](ByteView b, std::uint32_t sum) {
                    for (std::size_t i = 0; i < b.size(); ++i) sum += std::uint32_t{b[i]} << (i % 2 == 0 ? 8 : 0);
                    while (sum >> 16 != 0) sum = (sum & 0xFFFF) + (sum >> 16);
                    return sum;
                };
                const bool v6 = f[12] == 0x86;
                const std::size_t transport = v6 ? 54 : 34;
                if (!v6) {
                    EXPECT_EQ(add(ByteView(f).subspan(14, 20), 0), 0xFFFFu);
                }
                const auto pseudo = add(v6 ? ByteView(f).subspan(22, 32) : ByteView(f).subspan(26, 8),
                                        (tcp ? 6u : 17u) + static_cast<std::uint32_t>(f.size() - transport));
                EXPECT_EQ(add(ByteView(f).subspan(transport), pseudo), 0xFFFFu);
            }
        }
}

TEST(Pcapng, PacketsComeBackAsTheyWere) {
    Bytes f = pcapng::section_header("x");
    append(f, pcapng::interface(pcapng::ethernet, "a", "c"));
    append(f, pcapng::interface(pcapng::socketcan, "b", ""));
    append(f, pcapng::packet(1, 1'795'600'000'123'456, Bytes{1, 2, 3}));
    append(f, pcapng::packet(0, 5, Bytes{}));
    const auto c = pcapng::read(f).value();
    ASSERT_EQ(c.packets.size(), 2u);
    EXPECT_EQ(c.packets[0].link_type, pcapng::socketcan);
    EXPECT_EQ(c.packets[0].at_us, 1'795'600'000'123'456);
    EXPECT_EQ(c.packets[0].data, (Bytes{1, 2, 3}));
    EXPECT_EQ(f[c.packets[0].at], 1);
    EXPECT_EQ(c.packets[1].at_us, 5);
    append(f, pcapng::packet(2, 0, Bytes{}));
    EXPECT_EQ(pcapng::read(f).error().problem, "a packet of interface 2, which is not described");
}

}  // namespace
}  // namespace fettle::link
