// Answers that are older than their question, or of nobody: late ones and doubled ones, before, between and behind a
// clearing; and boxes that send without end.
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <chrono>
#include <thread>

#include "fettle/link/client.h"
#include "fettle/link/inventory.h"
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

Timing patient() {
    Timing t;
    t.connect_ms = t.control_ms = t.ack_ms = t.p2_ms = t.p2star_ms = 5000;
    t.busy_pause_ms = 5;
    return t;
}

// What a box was asked, and `answer` says what it sends to each. A sign of life (3E) is answered by itself.
struct Talk {
    std::vector<std::string> asked;
    std::function<void(const Line&)> box(std::function<Bytes(const std::string&)> answer) {
        return [this, answer = std::move(answer)](const Line& l) {
            l.activate();
            for (Bytes q = l.receive(); q.size() > 12; q = l.receive()) {
                const std::string asks = hex(ByteView(q).subspan(12));
                asked.push_back(asks);
                l.send(asks == "3e00" ? ack() + says({0x7E, 0x00}) : answer(asks));
            }
        };
    }
    std::size_t count(const std::string& begins) const {
        return static_cast<std::size_t>(
            std::count_if(asked.begin(), asked.end(), [&](const auto& a) { return a.starts_with(begins); }));
    }
};

// The positive answer to a clearing names no code (ISO 14229-1: 54 alone), so the second of a doubled one looks like
// the answer to the next request. The box says no to that.
TEST(StaleAnswers, ADoubledYesIsNotTheAnswerToTheNextClearing) {
    Talk talk;
    {
        RudeBox box(talk.box([](const std::string& asks) {
            return asks == "149a4f13" ? ack() + says({0x54}) + says({0x54}) : ack() + says({0x7F, 0x14, 0x22});
        }));
        auto c = Connection::open(box.at(), {}, patient());
        ASSERT_TRUE(c);
        EXPECT_EQ(c->clear(0x1041, uds::ClearRequest(0x9A4F13)).said, Said::value);
        std::this_thread::sleep_for(std::chrono::milliseconds(50));  // the second lies in the socket now
        const Reply second = c->clear(0x1041, uds::ClearRequest(0x9A5013));
        EXPECT_EQ(second.said, Said::refused) << second.why;
        EXPECT_TRUE(second.sent);
    }
    EXPECT_EQ(talk.count("14"), 2u);
}

TEST(StaleAnswers, AYesBeforeTheAcknowledgementIsNobodys) {
    Talk talk;
    RudeBox box(talk.box([](const std::string&) { return says({0x54}) + ack() + says({0x7F, 0x14, 0x31}); }));
    auto c = Connection::open(box.at(), {}, patient());
    ASSERT_TRUE(c);
    EXPECT_EQ(c->clear(0x1041, uds::ClearRequest(0x9A4F13)).said, Said::refused);
}

TEST(StaleAnswers, AListFromBeforeTheClearingIsNotReadBehindIt) {
    Talk talk;
    const Bytes before = says({0x59, 0x02, 0xFF, 0x9A, 0x4F, 0x13, 0x28}), after = says({0x59, 0x02, 0xFF});
    RudeBox box(talk.box([&, n = 0](const std::string& asks) mutable {
        if (asks.starts_with("14")) return ack() + says({0x54}) + after;  // the list comes once more, too early
        return ack() + (n++ == 0 ? before : before);
    }));
    auto c = Connection::open(box.at(), {}, patient());
    ASSERT_TRUE(c);
    EXPECT_EQ(c->read_codes(0x1041).list.codes.size(), 1u);
    EXPECT_EQ(c->clear(0x1041, uds::ClearRequest(0x9A4F13)).said, Said::value);
    EXPECT_EQ(c->read_codes(0x1041).list.codes.size(), 1u);  // it still stands there
}

TEST(StaleAnswers, WhatLiesInTheSocketIsDrainedBeforeTheNextQuestion) {
    RudeBox box([](const Line& l) {
        l.activate();
        l.receive();
        l.send(ack() + says({0x62, 0xF1, 0x95, '1'}));
        std::this_thread::sleep_for(std::chrono::milliseconds(30));
        l.send(says({0x7F, 0x22, 0x31}));  // a "no" to nothing
        l.receive();
        std::this_thread::sleep_for(std::chrono::milliseconds(30));
        l.send(ack() + says({0x62, 0xF1, 0x87, '2'}));
        l.take(1);
    });
    auto c = Connection::open(box.at(), {}, patient());
    ASSERT_TRUE(c);
    EXPECT_EQ(c->read(0x1041, 0xF195).said, Said::value);
    std::this_thread::sleep_for(std::chrono::milliseconds(80));
    EXPECT_EQ(as_text(c->read(0x1041, 0xF187).data), "2");
}

TEST(Clearing14, IsSentOnceAlsoAfterBusy) {
    Talk talk;
    {
        RudeBox box(talk.box([](const std::string&) { return ack() + says({0x7F, 0x14, 0x21}); }));
        auto c = Connection::open(box.at(), {}, patient());
        ASSERT_TRUE(c);
        EXPECT_EQ(c->clear(0x1041, uds::ClearRequest(0x9A4F13)).nrc, 0x21);
    }
    EXPECT_EQ(talk.count("14"), 1u);
}

TEST(Clearing14, WithoutASignOfLifeNothingIsSent) {
    std::vector<std::string> asked;
    {
        RudeBox box([&](const Line& l) {
            l.activate();
            for (Bytes q = l.receive(); q.size() > 12; q = l.receive()) asked.push_back(hex(ByteView(q).subspan(12)));
        });
        Timing t = patient();
        t.ack_ms = 100;
        auto c = Connection::open(box.at(), {}, t);
        ASSERT_TRUE(c);
        const Reply r = c->clear(0x1041, uds::ClearRequest(0x9A4F13));
        EXPECT_EQ(r.said, Said::no_answer);
        EXPECT_FALSE(r.sent);
        EXPECT_EQ(r.why, "it shows no sign of life, so it was not asked");
    }
    EXPECT_EQ(asked, std::vector<std::string>{"3e00"});
}

// --- what a list may be ---------------------------------------------------------------------------------------------

BoxFaults memory_of(const Bytes& list) {
    Talk talk;
    RudeBox box(talk.box([&](const std::string&) { return ack() + says(list); }));
    auto c = Connection::open(box.at(), {}, patient());
    family::LinkBox record;
    record.role = "main";
    record.address = 0x1041;
    return read_memory(*c, record);
}

TEST(Memory, AListThatContradictsItselfOrSaysNothingIsNotRead) {
    const BoxFaults twice = memory_of({0x59, 0x02, 0xFF, 0x9A, 0x4F, 0x13, 0x28, 0x9A, 0x4F, 0x13, 0x28});
    EXPECT_EQ(twice.known, Known::read);
    EXPECT_EQ(twice.faults.size(), 1u);
    const BoxFaults other = memory_of({0x59, 0x02, 0xFF, 0x9A, 0x4F, 0x13, 0x28, 0x9A, 0x4F, 0x13, 0x2F});
    EXPECT_EQ(other.known, Known::unreadable);
    EXPECT_EQ(other.why, "B1A4F-13 stands there twice, with 28 and with 2F");
    // ISO 14229-1: listed is what status, mask and availability have in common; with none of the bits of a failure an
    // empty list is not "no entries".
    for (const std::uint8_t availability : {0x00, 0x10, 0x50})
        EXPECT_EQ(memory_of({0x59, 0x02, availability}).known, Known::unreadable) << int(availability);
    EXPECT_EQ(memory_of({0x59, 0x02, 0x08}).known, Known::read);
}

// --- one more try ---------------------------------------------------------------------------------------------------

TEST(OneMoreTry, AReadingGoesOnOverANewConnectionOnce) {
    int n = 0;
    RudeBox box(
        [&](const Line& l) {
            l.activate();
            l.receive();
            if (++n == 1) return;  // closed in the middle
            l.send(ack() + says({0x62, 0xF1, 0x95, '1'}));
            l.receive();
        },
        2);
    Options options;
    options.reconnects = 1;
    auto c = Connection::open(box.at(), options, patient());
    ASSERT_TRUE(c);
    EXPECT_EQ(as_text(c->read(0x1041, 0xF195).data), "1");
    EXPECT_EQ(c->reconnected(), 1);
    EXPECT_EQ(c->read(0x1041, 0xF187).said, Said::no_answer);  // not a second time
    EXPECT_EQ(c->reconnected(), 1);
}

TEST(OneMoreTry, NeverForAClearing) {
    int fourteens = 0;
    {
        RudeBox box([&](const Line& l) {
            l.activate();
            for (Bytes q = l.receive(); q.size() > 12; q = l.receive()) {
                fourteens += q[12] == 0x14;
                if (q[12] == 0x14) return;
                l.send(ack() + says({0x7E, 0x00}));
            }
        });
        Options options;
        options.reconnects = 1;
        auto c = Connection::open(box.at(), options, patient());
        ASSERT_TRUE(c);
        const Reply r = c->clear(0x1041, uds::ClearRequest(0x9A4F13));
        EXPECT_EQ(r.said, Said::no_answer);
        EXPECT_TRUE(r.sent);
        EXPECT_EQ(c->reconnected(), 0);
    }
    EXPECT_EQ(fourteens, 1);
}

// Slower than P2, byte by byte: a message that is arriving keeps its time.
TEST(OneMoreTry, AMessageThatIsArrivingIsWaitedFor) {
    RudeBox box([](const Line& l) {
        l.activate();
        l.receive();
        l.send(ack());
        for (const Byte b : says({0x62, 0xF1, 0x95, '1'})) {
            l.send({b});
            std::this_thread::sleep_for(std::chrono::milliseconds(30));
        }
        l.take(1);
    });
    Timing t = patient();
    t.p2_ms = 150;
    auto c = Connection::open(box.at(), {}, t);
    ASSERT_TRUE(c);
    EXPECT_EQ(as_text(c->read(0x1041, 0xF195).data), "1");
}

// --- without end ----------------------------------------------------------------------------------------------------

long peak_kib() {
    rusage u{};
    ::getrusage(RUSAGE_SELF, &u);
    return u.ru_maxrss;
}

// Before activation, and between a request and its answer: as fast as the socket takes it, until the tester is gone.
TEST(Floods, CostAtMost32MiB) {
    for (const bool before : {true, false})
        for (const Bytes& one : {says({0x62, 0x00, 0x01, 0x00}), frame(0x0007, {}), ack(), frame(0x1234, {1})}) {
            RudeBox box([&](const Line& l) {
                before ? (void)l.receive() : l.activate();
                if (!before) l.receive();
                Bytes many;
                for (int i = 0; i < 1000; ++i) append(many, one);
                while (::send(l.fd, many.data(), many.size(), MSG_NOSIGNAL) > 0) {
                }
            });
            Timing t = patient();
            t.control_ms = t.ack_ms = t.p2_ms = 1000;
            t.longest_ms = 1500;
            const long began = peak_kib();
            const auto from = std::chrono::steady_clock::now();
            auto c = Connection::open(box.at(), {}, t);
            if (c) {
                EXPECT_NE(c->read(0x1041, 0xF195).said, Said::value);
            } else {
                EXPECT_EQ(c.error().kind, ErrorKind::outside);
            }
            EXPECT_LT(peak_kib() - began, 32 * 1024);
            EXPECT_LT(std::chrono::steady_clock::now() - from, std::chrono::seconds(8));
        }
}

}  // namespace
}  // namespace fettle::link
