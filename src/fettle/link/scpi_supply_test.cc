// The supply is a peer on the loopback interface: good, and then rude in every way that a supply, its network box or a
// wrong address can be. Whatever it does, a call comes back in time with a sample or one sentence, and the next call
// works once the peer does.
#include "fettle/link/scpi_supply.h"

#include <gtest/gtest.h>

#include <atomic>

#include "fettle/link/scpi_peer_test_help.h"

namespace fettle::link {
namespace {

using testing::Figures;
using testing::ScpiPeer;
using testing::well_behaved;

constexpr int quick_ms = 60;

class Supply : public ::testing::Test {
protected:
    scpi::Address address(const ScpiPeer& p) const {
        scpi::Address a;
        a.at = p.at();
        return a;
    }
    double took_s(const std::function<void()>& what) const {
        const auto began = std::chrono::steady_clock::now();
        what();
        return std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
    }
    ManualClock clock_{1'000'000};
};

TEST_F(Supply, ASampleHasBothFiguresAndOurTime) {
    Figures f;
    ScpiPeer peer([&](const std::string& l) { return well_behaved(f, l); });
    ScpiSupply supply(address(peer), clock_, 1000);
    for (int i = 0; i < 3; ++i) {
        const auto s = supply.take();
        ASSERT_TRUE(s) << s.error().message();
        ASSERT_EQ(s->size(), 1u);
        EXPECT_EQ(s->front().t, 1'000'000);
        EXPECT_EQ(s->front().volts, 13.48);
        EXPECT_EQ(s->front().amps, 2.3);
    }
    EXPECT_EQ(peer.connections, 1);
}
TEST_F(Supply, EverythingForTheReadyCheck) {
    Figures f;
    f.errors = {"-222,\"Data out of range\"", "103,\"Fan\""};
    ScpiPeer peer([&](const std::string& l) { return well_behaved(f, l); });
    ScpiSupply supply(address(peer), clock_, 1000);
    const auto s = supply.read();
    ASSERT_TRUE(s);
    EXPECT_EQ(s->maker_and_model, "Saltmarsh Bench Feeder 30");
    EXPECT_EQ(s->set_V, 13.5);
    EXPECT_EQ(s->limit_A, 10);
    EXPECT_EQ(s->output_on, true);
    EXPECT_EQ(s->measured_V, 13.48);
    EXPECT_EQ(s->errors, (std::vector<std::string>{"-222 Data out of range", "103 Fan"}));
    EXPECT_TRUE(s->not_understood.empty());
}
// The rule over everything that is ever sent: questions only, one a line. Nothing could switch an output or set it.
TEST_F(Supply, NothingButQuestionsLeaves) {
    for (const bool understands : {true, false}) {
        Figures f;
        f.output = "0";
        ScpiPeer peer([&](const std::string& l) { return understands ? well_behaved(f, l) : std::string("?!\n"); });
        ScpiSupply supply(address(peer), clock_, quick_ms);
        (void)supply.read();
        (void)supply.take();
        ASSERT_FALSE(peer.heard().empty());
        for (const std::string& line : peer.heard()) {
            EXPECT_EQ(line.back(), '?') << line;
            EXPECT_EQ(line.find_first_of("; \t"), std::string::npos) << line;
        }
    }
}
TEST_F(Supply, AnErrorQueueThatNeverEmptiesIsNotReadForEver) {
    Figures f;
    int asked = 0;
    ScpiPeer peer([&](const std::string& l) {
        if (l != "SYST:ERR?") return well_behaved(f, l);
        ++asked;
        return std::string("-350,\"Queue overflow\"\n");
    });
    ScpiSupply supply(address(peer), clock_, 1000);
    EXPECT_EQ(supply.read()->errors.size(), 20u);
    EXPECT_EQ(asked, 20);
}
// 9.91E37 is "no reading" (SCPI-99), never a voltage.
TEST_F(Supply, ItsOwnNoReadingIsNoFigure) {
    Figures f;
    f.amps = "9.91E37";
    ScpiPeer peer([&](const std::string& l) { return well_behaved(f, l); });
    ScpiSupply supply(address(peer), clock_, 1000);
    auto s = supply.take();
    ASSERT_TRUE(s);
    EXPECT_TRUE(s->front().has_volts());
    EXPECT_FALSE(s->front().has_amps());
    f.volts = "nan";
    s = supply.take();
    ASSERT_FALSE(s);
    EXPECT_EQ(s.error().code, "supply-no-reading");
}
TEST_F(Supply, ASupplyWithWordsOfItsOwn) {
    ScpiPeer peer([&](const std::string& l) {
        return std::string(l == "VOUT1?" ? "13.20\n" : l == "IOUT1?" ? "2.10\n" : "");
    });
    auto a = scpi::parse_address("words://127.0.0.1:" + std::to_string(peer.at().port) + "/VOUT1?,IOUT1?");
    ScpiSupply supply(*a, clock_, 500);
    EXPECT_EQ(supply.take()->front().volts, 13.2);
    const auto s = supply.read();
    EXPECT_EQ(s->measured_A, 2.1);
    EXPECT_FALSE(s->set_V);
    for (const std::string& line : peer.heard()) EXPECT_TRUE(line == "VOUT1?" || line == "IOUT1?") << line;
}

// --- rude ---------------------------------------------------------------------------------------------------------

// Each is rude at first and then good: the call says what is wrong within its time, and a later one has a sample.
TEST_F(Supply, EveryRudenessIsOneSentenceAndPasses) {
    struct Rude {
        const char* what;
        std::optional<std::string> answer;
        const char* code;
        const char* says;
        std::int64_t time_ms;  // of the call; what comes is judged as it comes, so with much time it is over before it
    };
    constexpr std::int64_t much = 4000;
    const std::vector<Rude> all = {
        {"stops answering", "", "supply-silent", "no answer to MEAS:VOLT?", quick_ms},
        {"half a line", "13.4", "supply-silent", "half an answer", 400},
        {"text", "READY\n", "supply-nonsense", "\"READY\" in answer to MEAS:VOLT?", much},
        {"an empty line", "\n", "supply-nonsense", "\"\" in answer", much},
        {"an endless line", std::string(5000, '1'), "supply-nonsense", "does not end", much},
        {"a figure beyond belief", "99999\n", "supply-nonsense", "99999", much},
        {"control characters", "\x1b[2J13.5\n", "supply-nonsense", "\\x1b", much},
        {"closes", std::nullopt, "supply-silent", "closed the connection", much},
    };
    for (const Rude& r : all) {
        Figures f;
        std::atomic<bool> rude = true;
        ScpiPeer peer([&](const std::string& l) -> std::optional<std::string> {
            return rude ? r.answer : std::optional<std::string>(well_behaved(f, l));
        });
        ScpiSupply supply(address(peer), clock_, r.time_ms);
        Result<std::vector<SupplySample>> s;
        EXPECT_LT(took_s([&] { s = supply.take(); }), 2.0) << r.what;
        ASSERT_FALSE(s) << r.what;
        EXPECT_EQ(s.error().code, r.code) << r.what << ": " << s.error().message();
        EXPECT_NE(s.error().problem.find(r.says), std::string::npos) << r.what << ": " << s.error().problem;
        EXPECT_EQ(s.error().kind, ErrorKind::outside);
        rude = false;
        for (int i = 0; i < 50 && !(s = supply.take()); ++i) {  // on a busy machine its time may be over first
            EXPECT_EQ(s.error().code, "supply-silent") << r.what;
        }
        ASSERT_TRUE(s) << r.what << ": " << s.error().message();
        EXPECT_EQ(s->front().volts, 13.48) << r.what;
    }
}
// An answer that comes after its time must not be taken for the next one's.
TEST_F(Supply, ALateAnswerIsNeverShownAsNew) {
    std::atomic<int> asked = 0;
    ScpiPeer peer([&](const std::string& question) -> std::optional<std::string> {
        if (++asked == 1) {
            std::this_thread::sleep_for(std::chrono::milliseconds(2 * quick_ms));
            return "99.0\n";  // the old value
        }
        return question == "MEAS:VOLT?" ? "13.5\n" : "2.0\n";
    });
    ScpiSupply supply(address(peer), clock_, quick_ms);
    EXPECT_EQ(supply.take().error().code, "supply-silent");
    // Asked again at once: the late answer comes just when the next one is due.
    auto s = supply.take();
    for (int i = 0; i < 40 && !s; ++i) {
        std::this_thread::sleep_for(std::chrono::milliseconds(quick_ms));
        s = supply.take();
    }
    ASSERT_TRUE(s) << s.error().message();
    EXPECT_EQ(s->front().volts, 13.5);
    EXPECT_EQ(s->front().amps, 2.0);
}
TEST_F(Supply, WhatComesUnaskedIsThrownAway) {
    Figures f;
    ScpiPeer peer([&](const std::string& l) { return well_behaved(f, l) + (l == "MEAS:CURR?" ? "55.5\n" : ""); },
                  "welcome, 77.7 V\n");
    ScpiSupply supply(address(peer), clock_, 1000);
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    for (int i = 0; i < 3; ++i) {
        const auto s = supply.take();
        std::this_thread::sleep_for(std::chrono::milliseconds(10));
        if (!s) continue;  // the greeting may come between question and answer: text, said so
        EXPECT_EQ(s->front().volts, 13.48);
    }
}
TEST_F(Supply, DropByDropForEverIsSilence) {
    Figures f;
    ScpiPeer peer([&](const std::string&) { return std::string("1"); });
    ScpiSupply supply(address(peer), clock_, quick_ms);
    EXPECT_LT(took_s([&] { EXPECT_EQ(supply.take().error().code, "supply-silent"); }), 1.0);
}
TEST_F(Supply, NobodyThereIsSaidAndNotWaitedFor) {
    scpi::Address a;
    {
        Figures f;
        ScpiPeer peer([&](const std::string& l) { return well_behaved(f, l); });
        a.at = peer.at();
    }  // its port is closed now
    ScpiSupply supply(a, clock_, quick_ms);
    for (int i = 0; i < 20; ++i)
        EXPECT_LT(took_s([&] { EXPECT_EQ(supply.take().error().code, "supply-not-reachable"); }), 0.5);
    EXPECT_EQ(supply.read().error().code, "supply-not-reachable");
}
TEST_F(Supply, AQuestionItDoesNotKnowLeavesTheOthers) {
    Figures f;
    ScpiPeer peer([&](const std::string& l) {
        return l == "OUTP?" ? std::string("maybe\n") : l == "CURR?" ? std::string() : well_behaved(f, l);
    });
    ScpiSupply supply(address(peer), clock_, quick_ms);
    const auto s = supply.read();
    ASSERT_TRUE(s);
    EXPECT_EQ(s->set_V, 13.5);
    EXPECT_FALSE(s->limit_A);
    EXPECT_FALSE(s->output_on);
    EXPECT_EQ(s->not_understood, std::vector<std::string>{"OUTP?: \"maybe\""});
}

}  // namespace
}  // namespace fettle::link
