#include "fettle/workshop/take_in.h"

#include <gtest/gtest.h>

#include "fettle/workshop/store.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

TakeInRequest of_customer(const char* customer) {
    TakeInRequest r;
    r.customer = customer;
    return r;
}

TEST(TakeIn, WhatTheOwnerSaysAndLeavesStandsInTheJob) {
    const TestWorkshop t;
    TakeInRequest r = of_customer("1007");
    r.complaint = "Goes dark";
    r.place = Place::vehicle;
    r.plates = {"6104183C5"};
    r.housings = 2;
    r.keep = {must(thing_typed("B2: map card #17")), must(thing_typed("spare key"))};
    r.consents = {"one-way"};
    const TakenIn taken = must(take_in(t.shop, r));
    ASSERT_EQ(taken.kept.size(), 2u);
    EXPECT_EQ(taken.kept[1].id, "keeping-2");
    const book::Job job = must(load_job(t.shop, taken.job));
    EXPECT_EQ(job.customer, "1007");
    EXPECT_EQ(job.place, Place::vehicle);
    EXPECT_EQ(job.housings, 2);
    EXPECT_EQ(job.consents, std::vector<std::string>{"one-way"});
    ASSERT_EQ(job.keepings.size(), 2u);
    EXPECT_EQ(job.keepings[0].words, "map card");
    EXPECT_EQ(job.keepings[0].slot, "B2");
    EXPECT_EQ(job.keepings[0].tag, "17");
    EXPECT_EQ(job.open_ends().size(), 2u);
}

TEST(TakeIn, AJobHasACustomerAndARefusedOneLeavesNoBook) {
    const TestWorkshop t;
    const auto none = take_in(t.shop, of_customer("  "));
    ASSERT_FALSE(none);
    EXPECT_EQ(none.error().code, "customer-missing");
    EXPECT_EQ(none.error().next.proposal()->act, Act::open_job);
    EXPECT_FALSE(std::filesystem::exists(t.shop.book_file()));
}

// ISO 3779: seventeen characters, none of them I, O or Q.
TEST(TakeIn, AVinThatCannotBeOneIsRefusedAndADoubtfulOneKeptAsTyped) {
    const TestWorkshop t;
    TakeInRequest r = of_customer("1007");
    r.vin = "VLM123";
    const auto refused = take_in(t.shop, r);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().code, "vin-impossible");
    r.vin = " 1m8gdm9a0kp042788 ";  // the check digit of 49 CFR 565 would be X
    const TakenIn taken = must(take_in(t.shop, r));
    EXPECT_EQ(taken.judgement.verdict(), Verdict::mind);
    EXPECT_EQ(must(load_job(t.shop, taken.job)).vin, "1M8GDM9A0KP042788");
}

TEST(TakeIn, APlateThatNobodyReadsIsSaidAndWrittenDown) {
    const TestWorkshop t;
    TakeInRequest r = of_customer("1007");
    r.plates = {"no plate at all"};
    r.complaint = "Goes dark";
    const TakenIn taken = must(take_in(t.shop, r));
    ASSERT_EQ(taken.judgement.reasons.size(), 1u);
    const Reason& reason = taken.judgement.reasons.front();
    EXPECT_EQ(reason.code, "plate-not-known");
    ASSERT_NE(reason.next.proposal(), nullptr);
    EXPECT_EQ(reason.next.proposal()->act, Act::identify);
    EXPECT_TRUE(taken.complains);
    EXPECT_FALSE(taken.family_known);
    EXPECT_TRUE(taken.worth.empty());
    EXPECT_EQ(must(load_job(t.shop, taken.job)).plates.size(), 1u);
}

TEST(TakeIn, TheNotesOfAShelvedReleaseAreAskedAboutTheComplaint) {
    const TestJob t;  // 27.1.110 and 27.3.118 are on its shelf
    TakeInRequest r = of_customer("1008");
    r.plates = {"6104183C5"};
    std::string cure;
    for (const shelf::Shelved& s : must(must(shelf::Shelf::open(t.shop.shelf_folder())).list("dunnock")))
        if (!s.release.cures.empty()) cure = s.release.cures.front();
    ASSERT_FALSE(cure.empty());
    r.complaint = cure;
    const TakenIn taken = must(take_in(t.shop, r));
    EXPECT_TRUE(taken.family_known);
    ASSERT_FALSE(taken.worth.empty());
    EXPECT_EQ(taken.worth.front().family, "dunnock");
    r.complaint = "Zzyx qqqq";
    EXPECT_TRUE(must(take_in(t.shop, r)).worth.empty());
}

TEST(TakeIn, ALabelThatIsOpenInAnotherJobIsSaid) {
    const TestWorkshop t;
    TakeInRequest r = of_customer("1007");
    r.plates = {"6104183C5", "6402207A4"};
    const TakenIn first = must(take_in(t.shop, r));
    EXPECT_EQ(first.judgement.verdict(), Verdict::fit);
    r.customer = "1008";
    r.plates = {"61 04183c5"};
    const auto said = [&] {
        const TakenIn next = must(take_in(t.shop, r));
        std::size_t n = 0;
        for (const Reason& x : next.judgement.reasons)
            n += x.code == "open-in-another-job" && x.text.find(first.job) != std::string::npos;
        return n;
    };
    EXPECT_EQ(said(), 1u);
    must(append_entries(t.shop, first.job, {{"handover", {{"file", "f"}, {"sheet_sha256", "s"}, {"key", "k"}}}}));
    EXPECT_EQ(said(), 0u);
}

}  // namespace
}  // namespace fettle::workshop
