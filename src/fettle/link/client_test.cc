// The client against boxes that are slow, rude, lying or not there. Each call must end within its stated time, and what
// was not answered must never come out as answered.
#include "fettle/link/client.h"

#include <gtest/gtest.h>

#include <chrono>

#include "rude_box_test_help.h"

namespace fettle::link {
namespace {

using testing::ack;
using testing::activated;
using testing::frame;
using testing::RudeBox;
using testing::says;
using testing::operator+;
using Line = RudeBox::Line;

Timing quick() {
    Timing t;
    t.connect_ms = t.control_ms = 3000;  // a busy machine is no silent box
    t.ack_ms = t.p2_ms = t.p2star_ms = 3000;
    t.busy_pause_ms = 5;
    return t;
}

// Opens, asks once for F195 and gives the reply; the whole must end within limit_ms.
Reply ask_rude(const std::function<void(const Line&)>& after_activation, std::int64_t limit_ms = 1500) {
    RudeBox box([&](const Line& l) {
        l.activate();
        after_activation(l);
    });
    const auto began = std::chrono::steady_clock::now();
    auto c = Connection::open(box.at(), {}, quick());
    EXPECT_TRUE(c) << c.error().message();
    Reply r;
    if (c) r = c->read(0x1041, 0xF195);
    EXPECT_LT(std::chrono::steady_clock::now() - began, std::chrono::milliseconds(limit_ms));
    return r;
}

const Bytes good = says({0x62, 0xF1, 0x95, '1', '.', '2'});

TEST(Client, APlainAnswer) {
    const Reply r = ask_rude([](const Line& l) {
        EXPECT_EQ(hex(l.receive()), "02fd8001000000070e80104122f195");
        l.send(ack() + good);
    });
    EXPECT_EQ(r.said, Said::value);
    EXPECT_EQ(as_text(r.data), "1.2");
}

TEST(Client, RefusalCarriesTheCodesNameAndIsNoSilence) {
    const Reply r = ask_rude([](const Line& l) {
        l.receive();
        l.send(ack() + says({0x7F, 0x22, 0x31}));
    });
    EXPECT_EQ(r.said, Said::refused);
    EXPECT_EQ(r.nrc, 0x31);
    EXPECT_EQ(r.why, "requestOutOfRange (0x31): the box does not know what was asked for");
}

TEST(Client, AliveCheckIsAnsweredWhileWaiting) {
    Bytes answered;
    const Reply r = ask_rude([&](const Line& l) {
        l.receive();
        l.send(frame(0x0007, {}));
        answered = l.receive();
        l.send(ack() + good);
    });
    EXPECT_EQ(hex(answered), "02fd0008000000020e80");
    EXPECT_EQ(r.said, Said::value);
}

// A "no" that comes late belongs to the old request. The box is asked for a sign of life first, so that the old answer
// is recognised.
TEST(Client, ALateNoIsNotTakenForTheNextAnswer) {
    RudeBox box([](const Line& l) {
        l.activate();
        l.receive();  // F187: no answer in time
        const Bytes fence = l.receive();
        EXPECT_EQ(hex(ByteView(fence).last(2)), "3e00");
        l.send(says({0x7F, 0x22, 0x31}));  // late, to F187
        l.send(ack() + says({0x7E, 0x00}));
        l.receive();  // F195
        l.send(ack() + good);
        l.take(1);
    });
    Timing t = quick();
    t.ack_ms = 100;
    auto c = Connection::open(box.at(), {}, t);
    ASSERT_TRUE(c);
    EXPECT_EQ(c->read(0x1041, 0xF187).said, Said::no_answer);
    const auto second = c->read(0x1041, 0xF195);
    EXPECT_EQ(second.said, Said::value);
    EXPECT_EQ(as_text(second.data), "1.2");
}

TEST(Client, ACodeListWithAHalfRecordIsNonsense) {
    RudeBox box([](const Line& l) {
        l.activate();
        l.receive();
        l.send(ack() + says({0x59, 0x02, 0xFF, 0x9A, 0x4F, 0x13}));
    });
    auto c = Connection::open(box.at(), {}, quick());
    ASSERT_TRUE(c);
    const auto codes = c->read_codes(0x1041);
    EXPECT_EQ(codes.reply.said, Said::nonsense);
    EXPECT_TRUE(codes.list.codes.empty());
}

// --- clearing, the gate ----------------------------------------------------------------------------

TEST(Clear, TowardThisMachineItGoesOutWithItsGroup) {
    Bytes got;
    RudeBox box([&](const Line& l) {
        l.activate();
        EXPECT_EQ(hex(ByteView(l.receive()).last(2)), "3e00");  // so that nothing old is taken for its answer
        l.send(ack() + says({0x7E, 0x00}));
        got = l.receive();
        l.send(ack() + says({0x7F, 0x14, 0x78}) + says({0x54}));
    });
    auto c = Connection::open(box.at(), {}, quick());
    ASSERT_TRUE(c);
    EXPECT_EQ(c->clear(0x1041, uds::ClearRequest(0x9A4F13)).said, Said::value);
    EXPECT_EQ(hex(ByteView(got).subspan(12)), "149a4f13");
}

TEST(Gate, WhileARunIsOpenNotOneByteGoesOut) {
    Bytes got;
    RudeBox box([&](const Line& l) {
        l.activate();
        got = l.take(1);  // whatever comes until the connection ends
    });
    {
        Options options;
        options.phase = [] { return Phase::run_open; };
        auto c = Connection::open(box.at(), options, quick());
        ASSERT_TRUE(c);
        const Reply r = c->read(0x1041, 0xF195);
        EXPECT_EQ(r.said, Said::no_answer);
        EXPECT_EQ(r.why, "not asked: a run is open, and the link is silent until it has ended");
        EXPECT_EQ(c->clear(0x1041, uds::ClearRequest(uds::ClearRequest::all)).said, Said::no_answer);
    }
    // `got` is written before the box's thread ends; the box's end waits for it.
    EXPECT_TRUE(got.empty());
}

TEST(Open, AnEntityOfTheOtherVersionGetsIt) {
    std::vector<std::string> asked;
    RudeBox box(
        [&](const Line& l) {
            const Bytes request = l.receive();
            asked.push_back(hex(ByteView(request).first(2)));
            Bytes active = activated();
            active[0] = 3, active[1] = 0xFC;
            l.send(request[0] == 3 ? active : Bytes{0x03, 0xFC, 0x00, 0x00, 0x00, 0x00, 0x00, 0x01, 0x00});
            l.take(1);
        },
        2);
    EXPECT_TRUE(Connection::open(box.at(), {}, quick()));
    EXPECT_EQ(asked, (std::vector<std::string>{"02fd", "03fc"}));
}

// --- opening -------------------------------------------------------------------------------------------------------

std::string open_error(const std::function<void(const Line&)>& behaviour) {
    RudeBox box(behaviour);
    Timing t = quick();
    t.control_ms = 150;
    const auto c = Connection::open(box.at(), {}, t);
    return c ? "opened" : c.error().code;
}

TEST(Open, EveryDenialIsNamed) {
    for (const std::uint8_t code : {0x00, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x11, 0x55}) {
        EXPECT_EQ(open_error([&](const Line& l) {
                      l.receive();
                      l.send(activated(code));
                  }),
                  "link-refused")
            << int(code);
    }
}

TEST(Open, NobodyNothingAndNonsense) {
    EXPECT_EQ(open_error([](const Line& l) { l.take(100); }), "link-not-reachable");  // silent
    EXPECT_EQ(open_error([](const Line&) {}), "link-not-reachable");                  // hangs up
    EXPECT_EQ(open_error([](const Line& l) { l.send({'H', 'T', 'T', 'P', '/', '1', '.', '1', ' '}); }),
              "link-nonsense");
    EXPECT_EQ(open_error([](const Line& l) { l.send(frame(0x0000, {0x01})); }), "link-nonsense");
    std::uint16_t free_port = 0;
    {
        RudeBox gone([](const Line&) {});
        free_port = gone.at().port;
        (void)Connection::open(gone.at(), {}, quick());
    }
    const auto c = Connection::open({"127.0.0.1", free_port}, {}, quick());
    ASSERT_FALSE(c);
    EXPECT_EQ(c.error().code, "link-not-reachable");
    EXPECT_EQ(c.error().kind, ErrorKind::outside);
}

TEST(Open, ANameIsNotLookedUp) {
    const auto c = Connection::open({"box.invalid", 13400});
    ASSERT_FALSE(c);
    EXPECT_EQ(c.error().code, "bad-address");
}

TEST(Cancelling, EndsAWaitFromAnotherThread) {
    RudeBox box([](const Line& l) {
        l.activate();
        l.receive();
        l.take(1);
    });
    Timing slow;
    slow.ack_ms = 60000;
    Cancel cancel;
    auto c = Connection::open(box.at(), {}, slow, cancel);
    ASSERT_TRUE(c);
    std::jthread stopper([&] {
        std::this_thread::sleep_for(std::chrono::milliseconds(60));
        cancel.cancel();
    });
    const auto began = std::chrono::steady_clock::now();
    const Reply r = c->read(0x1041, 0xF195);
    EXPECT_EQ(r.said, Said::no_answer);
    EXPECT_EQ(r.why, "it was broken off");
    EXPECT_LT(std::chrono::steady_clock::now() - began, std::chrono::milliseconds(1000));
}

TEST(Find, NobodyThereIsAnEmptyList) {
    RudeBox only_tcp([](const Line&) {});
    Timing t = quick();
    t.control_ms = 100;
    const auto found = find(only_tcp.at(), t);
    t.control_ms = 3000;
    ASSERT_TRUE(found);
    EXPECT_TRUE(found->empty());
    (void)Connection::open(only_tcp.at(), {}, t);
}

}  // namespace
}  // namespace fettle::link
