// What may reach a wire, over its whole domain: all 256 services, all second bytes, lengths 1 to 8, in every state a
// job can be in and toward both kinds of other end. What must pass is written down by hand.
#include "fettle/link/gate.h"

#include <gtest/gtest.h>

#include <set>

namespace fettle::link {
namespace {

// "22 3" for every second byte, "10 01 2" where the second byte matters.
std::set<std::string> passed(Phase phase, bool loopback) {
    std::set<std::string> out;
    for (unsigned service = 0; service < 256; ++service)
        for (unsigned second = 0; second < 256; ++second)
            for (std::size_t length = 1; length <= 8; ++length) {
                Bytes b(length, 0x33);
                b[0] = static_cast<Byte>(service);
                if (length > 1) b[1] = static_cast<Byte>(second);
                if (held(phase, b, loopback) != Held::free) continue;
                const bool any = service == 0x22 || service == 0x14;
                out.insert(hex(ByteView(b).first(any ? 1 : 2)) + " " + std::to_string(length));
            }
    return out;
}

TEST(Gate, OnlyReadingAndTowardThisMachineClearing) {
    const std::set<std::string> reading{"1001 2", "1003 2", "1901 3", "1902 3", "1904 6", "1906 6",
                                        "22 3",   "22 5",   "22 7",   "3e00 2", "3e80 2"};
    std::set<std::string> and_clearing = reading;
    and_clearing.insert("14 4");
    EXPECT_EQ(passed(Phase::no_run, true), and_clearing);
    EXPECT_EQ(passed(Phase::no_run, false), reading);
    EXPECT_EQ(passed(Phase::run_may_poll, true), reading);
    EXPECT_EQ(passed(Phase::run_may_poll, false), reading);
}

TEST(Gate, FromStartToEndOfARunTheLinkIsSilent) {
    EXPECT_TRUE(passed(Phase::run_open, true).empty());
    EXPECT_TRUE(passed(Phase::run_open, false).empty());
}

TEST(Gate, SaysWhy) {
    EXPECT_EQ(held_back(Phase::run_open, Bytes{0x22, 0xF1, 0x95}, true),
              "not asked: a run is open, and the link is silent until it has ended");
    EXPECT_EQ(held_back(Phase::no_run, Bytes{0x31, 1, 0xFF, 0}, true),
              "not asked: 3101ff00 is not on the list of what the link may ask");
    EXPECT_EQ(held_back(Phase::no_run, Bytes{0x14, 0xFF, 0xFF, 0xFF}, false),
              "not asked: entries are cleared on this machine's own stand-ins only, for now");
    EXPECT_FALSE(held_back(Phase::no_run, {}, true).empty());
}

}  // namespace
}  // namespace fettle::link
