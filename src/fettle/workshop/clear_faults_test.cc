// What is refused before a box is asked to clear: then nothing is opened, and the journal stays as it was.
#include "fettle/workshop/clear_faults.h"

#include <gtest/gtest.h>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class ClearFaults : public ::testing::Test {
protected:
    std::string refused() {
        const auto before = t_.job().last_number;
        const auto c = clear_faults(t_.shop, request_);
        EXPECT_EQ(t_.job().last_number, before);
        EXPECT_FALSE(std::filesystem::exists(t_.shop.home / "recordings"));
        return c ? "answered" : c.error().code;
    }
    void memory(json::array entries) {
        t_.add("faults",
               {{"when", "after"},
                {"place", "bench"},
                {"origin", "read"},
                {"entries", std::move(entries)},
                {"boxes", json::array{{{"box", "main"}, {"known", "read"}, {"availability", 0xFF}, {"raw", "5902ff"}},
                                      {{"box", "display"}, {"known", "not-asked"}, {"why", "it was not asked"}}}}});
    }

    TestJob t_;
    // Nothing listens at port 9 of this machine, and nothing would have to.
    ClearRequest request_{t_.number, "main", {"doip://127.0.0.1:9"}, "R", {}};
};

TEST_F(ClearFaults, IsRefusedWithoutNameRunOrSavedMemory) {
    EXPECT_EQ(refused(), "no-run");
    t_.run("");
    EXPECT_EQ(refused(), "run-open");
    t_.add("ended", {{"outcome", "ended"}});
    EXPECT_EQ(refused(), "memory-not-saved");
    request_.box = "amplifier";
    EXPECT_EQ(refused(), "box-unknown");
    request_.allowed_by = "  ";
    EXPECT_EQ(refused(), "clear-without-name");
}

TEST_F(ClearFaults, GoesNowhereElseThanToThisMachine) {
    t_.run();
    memory({{{"box", "main"}, {"code", "B1A4F-13"}, {"status", "0x28"}}});
    request_.at = {"doip://192.0.2.7:13400"};  // RFC 5737: an address for examples
    EXPECT_EQ(refused(), "clear-address");
}

TEST_F(ClearFaults, WhatNothingExplainsStaysAndNothingIsSent) {
    t_.run();
    memory({{{"box", "main"}, {"code", "P0135"}, {"status", "0x2F"}}});
    const auto before = t_.job().last_number;
    const auto c = clear_faults(t_.shop, request_);
    ASSERT_TRUE(c) << c.error().message();
    EXPECT_FALSE(c->sent);
    EXPECT_EQ(c->judgement.verdict(), Verdict::cant_say);
    EXPECT_EQ(c->choice.others, std::vector<std::string>{"P0135"});
    EXPECT_EQ(t_.job().last_number, before);
    request_.signed_for = {"P0136"};
    EXPECT_EQ(refused(), "sign-unknown");
}

}  // namespace
}  // namespace fettle::workshop
