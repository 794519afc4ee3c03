#include "fettle/workshop/hand_over.h"

#include <gtest/gtest.h>

#include <filesystem>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

// Somebody else writes into the job whenever the time is asked for, so many times: between the reading and the sealing.
class WritingClock final : public Clock {
public:
    WritingClock(const Workshop& other, std::string job) : other_(other), job_(std::move(job)) {}
    UnixMs now() const override {
        if (times > 0 && !writing_) {
            writing_ = true;
            --times;
            must(append_entries(other_, job_, {{"note", {{"text", "a reading"}}}}));
            writing_ = false;
        }
        return other_.clock->now();
    }
    mutable int times = 0;

private:
    Workshop other_;
    std::string job_;
    mutable bool writing_ = false;
};

class HandOver : public ::testing::Test {
protected:
    HandOver() { request_.job = t_.number; }
    void sign_everything() {
        for (const book::LooseEnd& e : t_.job().open_ends())
            t_.add("signed", {{"id", e.id}, {"by", "R"}, {"reason", "tried"}});
    }
    std::size_t sheets() const {
        std::error_code ec;
        std::size_t n = 0;
        for (const auto& e : std::filesystem::directory_iterator(t_.folder / "out", ec)) n += e.is_regular_file();
        return n;
    }
    TestJob t_;
    HandOverRequest request_{"", (t_.folder / "out").string(), "check it"};
};

TEST_F(HandOver, IsRefusedWhileSomethingIsOpenAndLeavesNothing) {
    t_.run();
    const auto made = hand_over(t_.shop, request_);
    ASSERT_FALSE(made);
    EXPECT_EQ(made.error().code, "loose-ends-open");
    EXPECT_EQ(sheets(), 0u);
    EXPECT_FALSE(std::filesystem::exists(t_.shop.keys_folder()));
    EXPECT_EQ(t_.job().handovers.size(), 0u);
}

TEST_F(HandOver, TheSheetIsTheOneThatTheJournalNames) {
    t_.run();
    sign_everything();
    const HandedOver made = must(hand_over(t_.shop, request_));
    EXPECT_TRUE(made.key_made_now);
    const std::string sheet = must(read_text_file(made.file));
    EXPECT_EQ(sha256_hex(sheet), made.sheet_sha256);
    ASSERT_EQ(t_.job().handovers.size(), 1u);
    EXPECT_EQ(t_.job().handovers[0].sheet_sha256, made.sheet_sha256);
    const SheetChecked checked = must(check_sheet(t_.shop, {made.file, "check it"}));
    EXPECT_EQ(checked.checked.seal, handover::Seal::unchanged);
    EXPECT_EQ(checked.known_as, "shop");
    EXPECT_EQ(checked.judgement.verdict(), Verdict::fit);
}

TEST_F(HandOver, AnEntryThatCameBetweenIsOnTheSheet) {
    t_.run();
    sign_everything();
    WritingClock clock(t_.shop, t_.number);
    clock.times = 2;
    Workshop shop = t_.shop;
    shop.clock = &clock;
    const auto made = hand_over(shop, request_);
    ASSERT_TRUE(made) << made.error().message();
    EXPECT_EQ(clock.times, 0);
    EXPECT_TRUE(made->key_made_now);  // in the attempt that came to nothing, and still to be said
    EXPECT_EQ(sheets(), 1u);
    const JobRecord record = must(read_job(t_.shop, t_.number));
    ASSERT_EQ(record.entries.back().type, "handover");
    const std::string sheet = must(read_text_file(made->file));
    EXPECT_NE(sheet.find(record.entries[record.entries.size() - 2].digest), std::string::npos);
}

TEST_F(HandOver, AnEntryThatMattersStopsIt) {
    t_.run();
    sign_everything();
    class : public Clock {
    public:
        UnixMs now() const override {
            if (!done) {
                done = true;
                job->add("kept", {{"id", "keeping-1"}, {"words", "a card"}});
            }
            return job->clock.at;
        }
        TestJob* job = nullptr;
        mutable bool done = false;
    } clock;
    clock.job = &t_;
    Workshop shop = t_.shop;
    shop.clock = &clock;
    const auto made = hand_over(shop, request_);
    ASSERT_FALSE(made);  // the owner's card is still here
    EXPECT_EQ(made.error().code, "loose-ends-open");
    EXPECT_EQ(sheets(), 0u);
}

}  // namespace
}  // namespace fettle::workshop
