// Boxes that are slow, rude, lying, rebooting or not there, over DoIP: one row each, with what must come of it. Every
// one ends within its stated time; what was not answered never comes out as answered, and no value is believed that the
// box did not give to this question. All run at the same time, with the standard's times scaled down.
#include <gtest/gtest.h>

#include <chrono>
#include <future>
#include <thread>

#include "fettle/link/client.h"
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

void pause_ms(int ms) {
    std::this_thread::sleep_for(std::chrono::milliseconds(ms));
}
void again(int times, int ms, const std::function<void()>& f) {
    for (int i = 0; i < times; ++i) {
        f();
        pause_ms(ms);
    }
}

const Bytes good = says({0x62, 0xF1, 0x95, '1', '.', '2'});
const Bytes pending = says({0x7F, 0x22, 0x78});

// Times by which a box that says nothing is given up. Where an answer is expected they are long, so that a busy machine
// is not taken for a silent box.
Timing hasty() {
    Timing t;
    t.connect_ms = t.control_ms = 5000;
    t.ack_ms = t.p2_ms = 150;
    t.p2star_ms = 200;
    t.longest_ms = 500;
    t.busy_pause_ms = 5;
    return t;
}
Timing patient() {
    Timing t;
    t.connect_ms = t.control_ms = t.ack_ms = t.p2_ms = t.p2star_ms = 5000;
    t.busy_pause_ms = 5;
    return t;
}

struct Rude {
    const char* what;
    std::function<void(const Line&)> does;  // after activation
    Said said;
    const char* why;  // begins so; for a value: the value
};

// Until the tester is gone.
void stay(const Line& l) {
    while (!l.take(1).empty()) {
    }
}
std::function<void(const Line&)> answers(Bytes b) {
    return [b](const Line& l) {
        l.receive();
        l.send(b);
        stay(l);
    };
}

Bytes page() {
    const ByteView b = as_bytes("HTTP/1.1 400 Bad Request\r\n\r\n");
    return {b.begin(), b.end()};
}

std::vector<Rude> boxes() {
    return {
        {"says nothing", [](const Line& l) { stay(l); }, Said::no_answer, "the request was not acknowledged in time"},
        {"acknowledges and says nothing", answers(ack()), Said::no_answer, "no answer in time"},
        {"acknowledges for another box only", answers(frame(0x8002, {0x10, 0x42, 0x0E, 0x80, 0})), Said::no_answer,
         "the request was not acknowledged in time"},
        {"0x78 for ever",
         [](const Line& l) {
             l.receive();
             l.send(ack());
             again(40, 20, [&] { l.send(pending); });
         },
         Said::no_answer, "it said "},
        {"0x78, then silence", answers(ack() + pending), Said::no_answer, "it said 1 times that the answer follows"},
        {"0x78 of another service", answers(ack() + says({0x7F, 0x19, 0x78})), Said::nonsense, "it sent 7f1978"},
        {"0x78, then no", answers(ack() + pending + says({0x7F, 0x22, 0x33})), Said::refused,
         "securityAccessDenied (0x33)"},
        {"busy for ever",
         [](const Line& l) {
             while (!l.receive().empty()) l.send(ack() + says({0x7F, 0x22, 0x21}));
         },
         Said::refused, "busyRepeatRequest (0x21)"},
        {"busy twice",
         [](const Line& l) {
             for (int n = 0; !l.receive().empty();) l.send(ack() + (n++ < 2 ? says({0x7F, 0x22, 0x21}) : good));
         },
         Said::value, "1.2"},
        {"answers without acknowledging", answers(good), Said::value, "1.2"},
        {"acknowledges after the answer", answers(good + ack()), Said::value, "1.2"},
        {"acknowledges ten times",
         answers(ack() + ack() + ack() + ack() + ack() + ack() + ack() + ack() + ack() + ack() + good), Said::value,
         "1.2"},
        {"answers another tester", answers(ack() + frame(0x8001, {0x10, 0x41, 0x0E, 0x81, 0x62, 0xF1, 0x95, '9'})),
         Said::no_answer, "no answer in time"},
        {"another box answers first", answers(ack() + says({0x62, 0xF1, 0x95, '9'}, 0x1042) + good), Said::value,
         "1.2"},
        {"only another box answers", answers(ack() + says({0x62, 0xF1, 0x95, '9'}, 0x1042)), Said::no_answer,
         "no answer in time"},
        {"another identifier echoed", answers(ack() + says({0x62, 0xF1, 0x87, 'X'})), Said::nonsense,
         "it sent 62f18758 to the request 22f195"},
        {"half an identifier", answers(ack() + says({0x62, 0xF1})), Said::nonsense, "it sent 62f1 to"},
        {"another service", answers(ack() + says({0x63, 0xF1, 0x95, '9'})), Said::nonsense, "it sent 63f19539"},
        {"a no to another service", answers(ack() + says({0x7F, 0x10, 0x31})), Said::nonsense, "it sent 7f1031"},
        {"a no with code 0", answers(ack() + says({0x7F, 0x22, 0x00})), Said::nonsense, "it sent 7f2200"},
        {"a no that is too long", answers(ack() + says({0x7F, 0x22, 0x31, 0x00})), Said::nonsense, "it sent 7f223100"},
        {"a no that is too short", answers(ack() + says({0x7F, 0x22})), Said::nonsense, "it sent 7f22 "},
        {"its own question back", answers(ack() + says({0x22, 0xF1, 0x95})), Said::nonsense, "it sent 22f195"},
        {"two answers in one segment", answers(ack() + good + says({0x62, 0xF1, 0x95, '9'})), Said::value, "1.2"},
        {"an answer and a no in one segment", answers(ack() + good + says({0x7F, 0x22, 0x31})), Said::value, "1.2"},
        {"byte by byte",
         [](const Line& l) {
             l.receive();
             for (const Byte b : ack() + good) {
                 l.send({b});
                 pause_ms(1);
             }
             stay(l);
         },
         Said::value, "1.2"},
        {"a byte now and then",
         [](const Line& l) {
             l.receive();
             for (const Byte b : ack() + good) {
                 l.send({b});
                 pause_ms(50);
             }
         },
         Said::no_answer, "the request was not acknowledged in time"},
        {"closes in mid answer",
         [](const Line& l) {
             l.receive();
             Bytes half = ack() + good;
             half.resize(half.size() - 3);
             l.send(half);
         },
         Said::no_answer, "the other side closed the connection"},
        {"closes at once", [](const Line& l) { l.receive(); }, Said::no_answer, "the other side closed the connection"},
        {"resets in mid answer",
         [](const Line& l) {
             l.receive();
             l.send(ack());
             pause_ms(20);
             const linger hard{1, 0};
             ::setsockopt(l.fd, SOL_SOCKET, SO_LINGER, &hard, sizeof hard);
         },
         Said::no_answer, "the connection was lost"},
        {"wrong inverse of the version",
         [](const Line& l) {
             l.receive();
             Bytes bad = ack();
             bad[1] = 0xFC;
             l.send(bad + good);
             stay(l);
         },
         Said::nonsense, "what came back is not DoIP"},
        {"version 7", answers(Bytes{0x07, 0xF8, 0x80, 0x01, 0, 0, 0, 5, 1, 2, 3, 4, 5}), Said::nonsense,
         "what came back is not DoIP: protocol version 07"},
        {"version 3 to version 2",
         [](const Line& l) {
             l.receive();
             Bytes b = good;
             b[0] = 3, b[1] = 0xFC;
             l.send(ack() + b);
             stay(l);
         },
         Said::value, "1.2"},
        {"a length of 4 GB", answers(Bytes{0x02, 0xFD, 0x80, 0x01, 0xFF, 0xFF, 0xFF, 0xFF} + good), Said::nonsense,
         "it announced a length of 4294967295 bytes, at most 65536 are taken"},
        {"an answer longer than is taken", answers(ack() + says(Bytes(66000, 0x62))), Said::nonsense,
         "it announced a length of 66004 bytes, at most 65536 are taken"},
        {"a message without data", answers(ack() + frame(0x8001, {0x10, 0x41, 0x0E, 0x80})), Said::nonsense,
         "what came back is not DoIP: 4 bytes are no length of a diagnostic message"},
        {"unknown payload types", answers(frame(0x1234, {1, 2, 3}) + ack() + frame(0xFFFF, {}) + good), Said::value,
         "1.2"},
        {"activation once more, and an announcement",
         answers(activated() + frame(0x0004, Bytes(33, 'A')) + ack() + good), Said::value, "1.2"},
        {"web server", answers(page()), Said::nonsense, "what came back is not DoIP"},
        {"box not known", answers(frame(0x8003, {0x10, 0x41, 0x0E, 0x80, 0x03})), Said::no_answer,
         "not delivered: it does not know the box's address (code 0x03)"},
        {"box away, told by the gateway", answers(ack() + frame(0x8003, {0x10, 0x41, 0x0E, 0x80, 0x06})),
         Said::no_answer, "not delivered: the box cannot be reached through it (code 0x06)"},
        {"header refused", answers(frame(0x0000, {0x03})), Said::no_answer, "not delivered: no memory for the message"},
        {"asks whether the tester is alive, for ever",
         [](const Line& l) {
             l.receive();
             again(60, 10, [&] { l.send(frame(0x0007, {})); });
             stay(l);
         },
         Said::no_answer, "the request was not acknowledged in time"},
        {"chatters about something else",
         [](const Line& l) {
             l.receive();
             again(100, 5, [&] { l.send(says({0x62, 0x00, 0x01, 0x00})); });
             stay(l);
         },
         Said::nonsense, "it sent 62000100"},
    };
}

TEST(RudeBoxes, EachEndsInItsTimeWithTheRightWords) {
    struct Outcome {
        Reply reply;
        std::int64_t took_ms = 0;
    };
    const auto all = boxes();
    std::vector<std::future<Outcome>> running;
    for (const Rude& rude : all)
        running.push_back(std::async(std::launch::async, [&rude] {
            RudeBox box([&](const Line& l) {
                l.activate();
                rude.does(l);
            });
            const bool answered = rude.said == Said::value || rude.said == Said::refused;
            auto c = Connection::open(box.at(), {}, answered ? patient() : hasty());
            if (!c) return Outcome{{Said::no_answer, {}, 0, "not opened: " + c.error().message()}, 0};
            const auto began = std::chrono::steady_clock::now();
            Outcome o{c->read(0x1041, 0xF195), 0};
            o.took_ms =
                std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::steady_clock::now() - began).count();
            // After whatever happened, another question ends, too, and gets nothing that belongs to the first.
            if (!answered) {
                EXPECT_NE(c->read(0x1041, 0xF187).said, Said::refused) << rude.what;
            }
            return o;
        }));
    for (std::size_t i = 0; i < all.size(); ++i) {
        SCOPED_TRACE(all[i].what);
        const Outcome o = running[i].get();
        EXPECT_EQ(o.reply.said, all[i].said) << words(o.reply.said) << ": " << o.reply.why;
        if (all[i].said == Said::value) {
            EXPECT_EQ(as_text(o.reply.data), all[i].why);
        } else {
            EXPECT_TRUE(o.reply.why.starts_with(all[i].why)) << o.reply.why;
            EXPECT_TRUE(o.reply.data.empty());
            EXPECT_LT(o.took_ms, hasty().longest_ms + 2000);  // the machine may be busy; without a limit it would hang
        }
    }
    EXPECT_GE(all.size(), 40u);
}

TEST(RudeBoxes, AnEntryThatIsBackAfterClearingStandsInTheListAgain) {
    RudeBox box([](const Line& l) {
        l.activate();
        for (Bytes q = l.receive(); !q.empty(); q = l.receive())
            l.send(ack() + (q[12] == 0x14   ? says({0x54})
                            : q[12] == 0x3E ? says({0x7E, 0x00})
                                            : says({0x59, 0x02, 0xFF, 0x9A, 0x4F, 0x13, 0x2F})));
    });
    auto c = Connection::open(box.at(), {}, patient());
    ASSERT_TRUE(c);
    EXPECT_EQ(c->clear(0x1041, uds::ClearRequest(uds::ClearRequest::all)).said, Said::value);
    const auto after = c->read_codes(0x1041);
    ASSERT_EQ(after.list.codes.size(), 1u);
    EXPECT_EQ(after.list.codes[0].status, 0x2F);
}

// Restarted in mid conversation: the old connection is dead and says so at once; a new one is refused while the box is
// away, and works when it is back.
TEST(RudeBoxes, AwayAndBack) {
    std::uint16_t port = 0;
    {
        RudeBox box([](const Line& l) {
            l.activate();
            l.receive();
        });
        port = box.at().port;
        auto c = Connection::open(box.at(), {}, patient());
        ASSERT_TRUE(c);
        EXPECT_EQ(c->read(0x1041, 0xF195).why, "the other side closed the connection");
        EXPECT_EQ(c->read(0x1041, 0xF195).said, Said::no_answer);
    }
    EXPECT_EQ(Connection::open({"127.0.0.1", port}, {}, patient()).error().code, "link-not-reachable");
    RudeBox back([](const Line& l) {
        l.activate();
        l.receive();
        l.send(ack() + good);
        stay(l);
    });
    auto c = Connection::open(back.at(), {}, patient());
    ASSERT_TRUE(c);
    EXPECT_EQ(c->read(0x1041, 0xF195).said, Said::value);
}

// Two vehicles answer one question, with rubbish and somebody else's messages between.
TEST(RudeBoxes, TwoVehiclesAnswer) {
    const int fd = ::socket(AF_INET, SOCK_DGRAM, 0);
    sockaddr_in a{};
    a.sin_family = AF_INET;
    a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t n = sizeof a;
    ASSERT_EQ(::bind(fd, reinterpret_cast<sockaddr*>(&a), n), 0);
    ASSERT_EQ(::getsockname(fd, reinterpret_cast<sockaddr*>(&a), &n), 0);
    std::jthread vehicles([fd] {
        Byte buffer[64];
        sockaddr_in from{};
        socklen_t size = sizeof from;
        if (::recvfrom(fd, buffer, sizeof buffer, 0, reinterpret_cast<sockaddr*>(&from), &size) <= 0) return;
        const auto send = [&](const Bytes& b) {
            (void)::sendto(fd, b.data(), b.size(), 0, reinterpret_cast<sockaddr*>(&from), size);
        };
        send({1, 2, 3});
        send(frame(0x0004, Bytes(32, 'A')));
        send(frame(0x0000, {0x01}));
        send(frame(0x0004, Bytes(31, 'A')));
        send(frame(0x0004, Bytes(33, 'B')));
        send(Bytes(2000, 0xFF));
    });
    const auto found = find({"127.0.0.1", ntohs(a.sin_port)}, patient());
    ::shutdown(fd, SHUT_RDWR);
    ASSERT_TRUE(found);
    ASSERT_EQ(found->size(), 2u);
    EXPECT_EQ(found->at(0).says.vin, std::string(17, 'A'));
    EXPECT_EQ(found->at(1).says.vin, std::string(17, 'B'));
    ::close(fd);
}

// A vehicle announces itself three times when ignition comes on (ISO 13400-2, A_DoIP_Announce_Num); it is listed once.
TEST(Announcements, EachEntityOnceAndRubbishIsPassedOver) {
    const int fd = ::socket(AF_INET, SOCK_DGRAM, 0);
    sockaddr_in a{};
    a.sin_family = AF_INET;
    a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t n = sizeof a;
    ASSERT_EQ(::bind(fd, reinterpret_cast<sockaddr*>(&a), n), 0);
    ASSERT_EQ(::getsockname(fd, reinterpret_cast<sockaddr*>(&a), &n), 0);
    ::close(fd);  // the port is free now, and known
    std::jthread vehicles([&](const std::stop_token& stop) {
        const int out = ::socket(AF_INET, SOCK_DGRAM, 0);
        while (!stop.stop_requested()) {
            for (const Bytes& b :
                 {frame(0x0004, Bytes(33, 'A')), Bytes{1, 2}, frame(0x0001, {}), frame(0x0004, Bytes(32, 'B'))})
                (void)::sendto(out, b.data(), b.size(), 0, reinterpret_cast<sockaddr*>(&a), sizeof a);
            pause_ms(10);
        }
        ::close(out);
    });
    const auto found = hear_announcements({"127.0.0.1", ntohs(a.sin_port)}, 200);
    ASSERT_TRUE(found) << found.error().message();
    ASSERT_EQ(found->size(), 2u);
    EXPECT_EQ(found->at(0).at.port, 13400);
    EXPECT_NE(found->at(0).says.vin, found->at(1).says.vin);
    EXPECT_EQ(hear_announcements({"192.0.2.1", 1}, 10).error().code, "bus-not-heard");
}

}  // namespace
}  // namespace fettle::link
