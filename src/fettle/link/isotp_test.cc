// ISO 15765-2. Tables: tests/data/reference/isotp-examples.csv, stmin.csv, isotp-timers.csv; their columns `source` and
// `mark` name where each row is from.
#include "fettle/link/isotp.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "fettle/base/text.h"
#include "isotp_test_help.h"
#include "reference_test_help.h"

namespace fettle::link::isotp {
namespace {

using link::testing::bytes_of;
using link::testing::table;
using std::chrono::milliseconds;
using testing::Bus;
using testing::got;

Bytes counted(std::size_t n) {
    Bytes b(n);
    for (std::size_t i = 0; i < n; ++i) b[i] = static_cast<Byte>(i * 7 + i / 256);
    return b;
}
Config unpadded() {
    Config c;
    c.pad.reset();
    return c;
}
// Frames that carry data, in order; flow controls left out.
std::vector<Bytes> data_frames(const Bus& bus, std::size_t at) {
    std::vector<Bytes> out;
    for (const Bytes& f : bus.log)
        if (f.at(at) >> 4 != 3) out.push_back(f);
    return out;
}

TEST(IsoTp, PublishedExamplesBothWays) {
    int looked = 0;
    for (const auto& row : table("isotp-examples.csv")) {
        SCOPED_TRACE(row.at("case"));
        const auto length = static_cast<std::size_t>(std::stoul(row.at("message_length")));
        const std::string& shown = row.at("message_hex");
        const Bytes message = shown.find(" x ") == std::string::npos ? bytes_of(shown) : Bytes(length, 0x54);
        Config c = unpadded();
        std::size_t at = 0;
        if (row.at("case").find("extended addressing") != std::string::npos) {
            c.extension = 0x41;
            at = 1;
        }
        if (row.at("case").find("padded CC") != std::string::npos) c.pad = 0xCC;
        Bus bus(c, c);
        bus.keep_log = true;
        bus.left.sender.start(message, bus.now);
        bus.run();
        EXPECT_EQ(bus.left.sender.outcome(), Outcome::ok);
        EXPECT_EQ(got(bus.right.receiver), message);
        const auto frames = data_frames(bus, at);
        const std::string& expected = row.at("frames_hex");
        if (const auto counted_at = expected.find(" frames)"); counted_at != std::string::npos) {
            const auto open = expected.rfind('(');
            EXPECT_EQ(frames.size(), std::stoul(expected.substr(open + 1)));
            EXPECT_EQ(frames.front(), bytes_of(expected.substr(0, expected.find('|'))));
        } else {
            std::vector<Bytes> wanted;
            for (const auto& f : split(expected, '|')) wanted.push_back(bytes_of(f));
            EXPECT_EQ(frames, wanted);
        }
        ++looked;
    }
    EXPECT_EQ(looked, 10);
}

TEST(IsoTp, SeparationTimesOfAll256Values) {
    int looked = 0;
    for (const auto& row : table("stmin.csv")) {
        const auto value = static_cast<std::uint8_t>(std::stoul(row.at("stmin_hex"), nullptr, 16));
        EXPECT_EQ(separation(value).count(), std::stol(row.at("separation_time_us_to_use"))) << row.at("stmin_hex");
        ++looked;
    }
    EXPECT_EQ(looked, 256);
}

TEST(IsoTp, TimersOfTheStandardAreTheDefaults) {
    const Timers t;
    for (const auto& row : table("isotp-timers.csv")) {
        const std::string& name = row.at("parameter");
        const std::int64_t ours = name == "N_As"   ? t.as
                                  : name == "N_Ar" ? t.ar
                                  : name == "N_Bs" ? t.bs
                                  : name == "N_Cr" ? t.cr
                                  : name == "N_Br" ? t.br
                                                   : t.cs;
        if (!row.at("timeout_ms").empty()) {
            EXPECT_EQ(ours, std::stol(row.at("timeout_ms"))) << name;
        } else {
            EXPECT_LE(ours, 900) << name;  // the performance rule, with a bus that takes frames at once
        }
    }
}

TEST(IsoTp, EveryLengthFrameSizeAndBlockSizeArrives) {
    for (const std::size_t frame : {8u, 12u, 16u, 20u, 24u, 32u, 48u, 64u})
        for (const bool padded : {true, false})
            for (const std::uint8_t block : {0, 1, 7}) {
                Config c;
                c.fd = frame > 8;
                c.frame_bytes = static_cast<std::uint8_t>(frame);
                if (!padded) c.pad.reset();
                c.block_size = block;
                for (const std::size_t length : {1u,  2u,  6u,  7u,  8u,  9u,  10u,  13u,  14u,  15u,   18u,   22u,
                                                 30u, 46u, 61u, 62u, 63u, 64u, 125u, 126u, 300u, 4095u, 4096u, 5000u}) {
                    Bus bus(c, c);
                    const Bytes message = counted(length);
                    bus.left.sender.start(message, bus.now);
                    bus.run();
                    ASSERT_EQ(bus.left.sender.outcome(), Outcome::ok) << frame << " " << length;
                    ASSERT_EQ(got(bus.right.receiver), message) << frame << " " << length << " " << int(block);
                }
            }
}

RC_GTEST_PROP(IsoTp, AnyMessageArrivesInBothDirectionsAtOnce, ()) {
    Config c;
    c.fd = *rc::gen::arbitrary<bool>();
    c.frame_bytes = c.fd ? *rc::gen::element<std::uint8_t>(8, 12, 24, 64) : 8;
    c.block_size = *rc::gen::inRange<std::uint8_t>(0, 20);
    c.st_min = *rc::gen::element<std::uint8_t>(0, 1, 0x7F, 0xF3, 0xFF);
    if (*rc::gen::arbitrary<bool>()) c.extension = 0x41;
    const Bytes one = counted(*rc::gen::inRange<std::size_t>(1, 600)),
                other = counted(*rc::gen::inRange<std::size_t>(1, 600));
    Bus bus(c, c);
    bus.left.sender.start(one, bus.now);
    bus.right.sender.start(other, bus.now);
    bus.run();
    RC_ASSERT(got(bus.right.receiver) == one);
    RC_ASSERT(got(bus.left.receiver) == other);
}

TEST(IsoTp, FlowControlsComeWhenTheBlockSizeSays) {
    Config c = unpadded();
    c.block_size = 8;
    c.st_min = 0x14;
    Bus bus(unpadded(), c);
    bus.keep_log = true;
    bus.left.sender.start(counted(4095), bus.now);
    const SteadyTime began = bus.now;
    bus.run();
    int flow = 0;
    for (const auto& f : bus.log) {
        if (f[0] >> 4 != 3) continue;
        EXPECT_EQ(f, (Bytes{0x30, 8, 0x14}));
        ++flow;
    }
    // 04-isotp: 4095 bytes are 585 consecutive frames c, ceil(c / b) flow controls, and within each block of 8 the
    // pause of 20 ms stands between frames.
    EXPECT_EQ(flow, (585 + 7) / 8);
    EXPECT_EQ(bus.now - began, milliseconds(20) * (585 - flow));
}

// --- what a sender meets --------------------------------------------------------------------------------------------

struct Flow {
    const char* what;
    std::vector<Bytes> flows;     // answers to the first frame, one after another
    std::optional<Outcome> ends;  // none: goes on sending
};
TEST(IsoTp, SenderAndEveryFlowControl) {
    const std::vector<Bytes> wait{{0x31, 5, 5}};
    std::vector<Bytes> ten_waits(10, wait[0]), eleven_waits(11, wait[0]);
    const Flow cases[] = {
        {"go on", {{0x30, 0, 0}}, std::nullopt},
        {"go on, padded", {{0x30, 0, 0, 0xCC, 0xCC, 0xCC, 0xCC, 0xCC}}, std::nullopt},
        {"overflow", {{0x32, 0, 0}}, Outcome::buffer_overflow},
        {"reserved 3", {{0x33, 0, 0}}, Outcome::invalid_fs},
        {"reserved F", {{0x3F, 0, 0}}, Outcome::invalid_fs},
        {"ten waits, then go on",
         [&] {
             auto f = ten_waits;
             f.push_back({0x30, 0, 0});
             return f;
         }(),
         std::nullopt},
        {"eleven waits", eleven_waits, Outcome::wait_overrun},
        {"too short: passed over", {{0x30, 0}}, Outcome::timeout_bs},
        {"none", {}, Outcome::timeout_bs},
    };
    for (const auto& c : cases) {
        SCOPED_TRACE(c.what);
        Sender s(unpadded());
        SteadyTime now{};
        s.start(counted(20), now);
        Payload p;
        ASSERT_TRUE(s.next(p, now));
        s.sent(now);
        for (const auto& f : c.flows) {
            now += milliseconds(999);  // each "wait" starts N_Bs again
            s.tick(now);
            s.flow_control(f, now);
        }
        if (!c.ends) {
            EXPECT_TRUE(s.next(p, now));
            continue;
        }
        if (c.ends == Outcome::timeout_bs) {
            s.tick(s.deadline() - milliseconds(1));
            EXPECT_EQ(s.outcome(), std::nullopt);  // one millisecond before
            s.tick(s.deadline());
        }
        EXPECT_EQ(s.outcome(), c.ends);
        EXPECT_FALSE(s.next(p, now + milliseconds(5000)));
    }
}

TEST(IsoTp, ABusThatTakesNothingEndsTheMessage) {
    for (const bool handed_over : {false, true}) {
        Sender s{Config{}};
        SteadyTime now{};
        s.start(counted(3), now);
        Payload p;
        if (handed_over) {
            EXPECT_TRUE(s.next(p, now));
        }
        s.tick(now + milliseconds(999));
        EXPECT_EQ(s.outcome(), std::nullopt);
        s.tick(now + milliseconds(1000));
        EXPECT_EQ(s.outcome(), Outcome::timeout_a);
    }
}

TEST(IsoTp, APauseThatIsReservedIsTheLongest) {
    Sender s{Config{}};
    SteadyTime now{};
    s.start(counted(30), now);
    Payload p;
    ASSERT_TRUE(s.next(p, now));
    s.sent(now);
    s.flow_control(Bytes{0x30, 0, 0x80}, now);
    ASSERT_TRUE(s.next(p, now));
    s.sent(now);
    EXPECT_FALSE(s.next(p, now + milliseconds(126)));
    EXPECT_TRUE(s.next(p, now + milliseconds(127)));
}

TEST(IsoTp, ASideThatIsTooSlowGivesUp) {
    Sender s{Config{}};
    SteadyTime now{};
    s.start(counted(30), now);
    Payload p;
    ASSERT_TRUE(s.next(p, now));
    s.sent(now);
    s.flow_control(Bytes{0x30, 0, 0}, now);
    s.tick(now + milliseconds(999));  // later than N_Cs requires, which ends nothing
    EXPECT_EQ(s.outcome(), std::nullopt);
    s.tick(now + milliseconds(1000));  // the receiver's N_Cr is over
    EXPECT_EQ(s.outcome(), Outcome::error);
}

TEST(IsoTp, NothingAndMoreThanALengthCanSayAreNotSent) {
    Sender s{Config{}};
    s.start({}, {});
    EXPECT_EQ(s.outcome(), Outcome::error);
}

// --- what a receiver meets ------------------------------------------------------------------------------------------

struct Taken {
    const char* what;
    std::vector<const char*> frames;  // "~999": that many milliseconds pass
    const char* message;              // hex; "" none
    std::optional<Outcome> fails;
    int flows = 0;
};
TEST(IsoTp, ReceiverAndWhateverComes) {
    const Taken cases[] = {
        {"single", {"03 22 F1 90"}, "22F190", {}, 0},
        {"single, padded", {"03 22 F1 90 CC CC CC CC"}, "22F190", {}, 0},
        {"single of length 0", {"00 22 F1"}, "", {}, 0},
        {"single, longer than its frame", {"05 22 F1 90"}, "", {}, 0},
        {"single of length 8", {"08 01 02 03 04 05 06 07"}, "", {}, 0},
        {"single FD", {"00 08 01 02 03 04 05 06 07 08 CC CC"}, "0102030405060708", {}, 0},
        {"single FD that the short form would hold", {"00 07 01 02 03 04 05 06 07 CC CC CC"}, "", {}, 0},
        {"single FD, longer than its frame", {"00 0B 01 02 03 04 05 06 07 08 09 0A"}, "", {}, 0},
        {"first and rest", {"10 0A 01 02 03 04 05 06", "21 07 08 09 0A"}, "0102030405060708090A", {}, 1},
        {"first with a length a single holds", {"10 07 01 02 03 04 05 06"}, "", {}, 0},
        {"first in a short frame", {"10 0A 01 02 03 04 05"}, "", {}, 0},
        {"first, escape with a short length", {"10 00 00 00 0F FF 01 02"}, "", {}, 0},
        {"first, 4 GiB", {"10 00 FF FF FF FF 01 02"}, "", Outcome::buffer_overflow, 1},
        {"wrong sequence number", {"10 14 01 02 03 04 05 06", "22 07 08 09 0A 0B 0C 0D"}, "", Outcome::wrong_sn, 1},
        {"a frame doubled",
         {"10 14 01 02 03 04 05 06", "21 07 08 09 0A 0B 0C 0D", "21 07 08 09 0A 0B 0C 0D"},
         "",
         Outcome::wrong_sn,
         1},
        {"starts with 0", {"10 14 01 02 03 04 05 06", "20 07 08 09 0A 0B 0C 0D"}, "", Outcome::wrong_sn, 1},
        {"a short frame in the middle is passed over",
         {"10 14 01 02 03 04 05 06", "21 07 08", "21 07 08 09 0A 0B 0C 0D", "22 0E 0F 10 11 12 13 14"},
         "0102030405060708090A0B0C0D0E0F1011121314",
         {},
         1},
        {"the last frame is missing", {"10 0A 01 02 03 04 05 06", "~1000"}, "", Outcome::timeout_cr, 1},
        {"the last frame comes a millisecond before its time",
         {"10 0A 01 02 03 04 05 06", "~999", "21 07 08 09 0A"},
         "0102030405060708090A",
         {},
         1},
        {"a consecutive frame out of nowhere", {"21 07 08 09 0A"}, "", {}, 0},
        {"a new single in between", {"10 14 01 02 03 04 05 06", "03 22 F1 90"}, "22F190", Outcome::unexpected_pdu, 1},
        {"a new first in between",
         {"10 14 01 02 03 04 05 06", "10 08 01 02 03 04 05 06", "21 07 08"},
         "0102030405060708",
         Outcome::unexpected_pdu,
         2},
        {"reserved kinds", {"40 01", "F0 00", "90 00"}, "", {}, 0},
        {"an empty frame", {""}, "", {}, 0},
    };
    for (const auto& c : cases) {
        SCOPED_TRACE(c.what);
        Config config;
        Channel ch(config);
        SteadyTime now{};
        int flows = 0;
        for (const std::string f : c.frames) {
            if (f.starts_with('~'))
                now += milliseconds(std::stol(f.substr(1)));
            else
                ch.take(bytes_of(f), now);
            Payload p;
            while (ch.next(p, now)) {
                EXPECT_EQ(p.data[0] >> 4, 3);
                EXPECT_EQ(p.data[0] & 0x0F, c.fails == Outcome::buffer_overflow ? 2 : 0);
                EXPECT_EQ(p.size, 8);
                ch.sent(now);
                ++flows;
            }
            ch.tick(now);
        }
        Bytes message;
        std::optional<Outcome> failed;
        while (auto e = ch.receiver.event()) {
            if (e->what == Event::message) message = e->data;
            if (e->what == Event::failed) failed = e->outcome;
        }
        EXPECT_EQ(message, bytes_of(c.message));
        EXPECT_EQ(failed, c.fails);
        EXPECT_EQ(flows, c.flows);
    }
}

TEST(IsoTp, AHeldReceiverSaysWaitAndThenGoesOn) {
    Config c = unpadded();
    Bus bus(c, c);
    bus.keep_log = true;
    bus.right.receiver.hold(true, bus.now);
    bus.left.sender.start(counted(20), bus.now);
    for (int i = 0; i < 9; ++i) {
        if (!bus.carry()) bus.now += milliseconds(450);
    }
    bus.right.receiver.hold(false, bus.now);
    bus.run();
    EXPECT_EQ(bus.log.at(1), (Bytes{0x31, 0, 0}));
    EXPECT_EQ(got(bus.right.receiver), counted(20));
    // Held for ever: it ends on both sides.
    bus.right.receiver.hold(true, bus.now);
    bus.left.sender.start(counted(20), bus.now);
    bus.run();
    EXPECT_EQ(bus.left.sender.outcome(), Outcome::wait_overrun);
    std::optional<Outcome> failed;
    while (auto e = bus.right.receiver.event())
        if (e->what == Event::failed) failed = e->outcome;
    EXPECT_EQ(failed, Outcome::wait_overrun);
}

TEST(IsoTp, ALongClaimKeepsNoMemory) {
    Config c;
    c.largest = 0xFFFFFFFF;
    Receiver r(c);
    r.take(bytes_of("10 00 FF FF FF FF 01 02"), {});
    Payload p;
    EXPECT_TRUE(r.next(p, {}));  // taken, by its own limit; what is held is what has come
    EXPECT_EQ(r.event()->what, Event::begins);
}

// Lost, doubled and exchanged frames at every place of a transfer: the message never arrives wrong.
TEST(IsoTp, NoDisturbanceMakesAWrongMessage) {
    const Bytes message = counted(70);
    for (int victim = 0; victim < 14; ++victim)
        for (int kind = 0; kind < 3; ++kind) {
            Bus bus(Config{}, Config{});
            int n = 0;
            Bytes kept;
            bus.touch = [&](ByteView f) -> std::vector<Bytes> {
                const Bytes b(f.begin(), f.end());
                const bool hit = n++ == victim;
                if (kind == 2 && !kept.empty()) {
                    std::vector<Bytes> out{b, kept};
                    kept.clear();
                    return out;
                }
                if (!hit) return {b};
                if (kind == 0) return {};
                if (kind == 1) return {b, b};
                kept = b;
                return {};
            };
            bus.left.sender.start(message, bus.now);
            bus.run();
            const Bytes end = got(bus.right.receiver);
            EXPECT_TRUE(end.empty() || end == message) << victim << " " << kind;
            EXPECT_TRUE(bus.left.sender.idle());
        }
}

}  // namespace
}  // namespace fettle::link::isotp
