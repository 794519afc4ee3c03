// ISO 15765-2, the receiving side: whatever comes, it gives the whole message or none, and keeps no memory for a claim.
#include "fettle/link/isotp_flow_test_help.h"

namespace fettle::link::isotp {
namespace {

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
