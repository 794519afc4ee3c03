// ISO 15765-2. Tables: tests/data/reference/isotp-examples.csv, stmin.csv, isotp-timers.csv; their columns `source` and
// `mark` name where each row is from.
#include "fettle/link/isotp_flow_test_help.h"

namespace fettle::link::isotp {
namespace {

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

}  // namespace
}  // namespace fettle::link::isotp
