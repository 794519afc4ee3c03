#include "fettle/workshop/note_job.h"

#include <gtest/gtest.h>

#include "fettle/workshop/store.h"
#include "fettle/workshop/take_in.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class NoteJob : public ::testing::Test {
protected:
    NoteJob() {
        TakeInRequest r;
        r.customer = "1007";
        r.complaint = "Goes drak";
        r.housings = 2;
        number_ = must(take_in(t_.shop, r)).job;
        correction_ = {number_, 1, "complaint", "Goes dark", "mistyped", "R. Moor", ""};
    }
    book::Job job() { return must(load_job(t_.shop, number_)); }
    TestWorkshop t_;
    std::string number_;
    CorrectRequest correction_;
};

TEST_F(NoteJob, ANoteAndAConsentAreAppended) {
    must(note_job(t_.shop, {number_, "battery tired", "R"}));
    must(note_consent(t_.shop, {number_, "one-way", "the owner"}));
    ASSERT_EQ(job().notes.size(), 1u);
    EXPECT_NE(job().notes[0].find("battery tired"), std::string::npos);
    EXPECT_EQ(job().consents, std::vector<std::string>{"one-way"});
}

TEST_F(NoteJob, NothingIsSaidByNobody) {
    const auto empty = note_job(t_.shop, {number_, " ", "R"});
    ASSERT_FALSE(empty);
    EXPECT_EQ(empty.error().code, "option-missing");
    const auto nobody = note_consent(t_.shop, {number_, "one-way", ""});
    ASSERT_FALSE(nobody);
    EXPECT_EQ(nobody.error().place, Words(with(flag("by"))));
    EXPECT_EQ(nobody.error().next.proposal()->act, Act::consent);
    EXPECT_TRUE(job().notes.empty());
    EXPECT_TRUE(job().consents.empty());
}

TEST_F(NoteJob, ACorrectionChangesWhatTheJobSaysAndKeepsTheOldWord) {
    const Corrected done = must(correct_entry(t_.shop, correction_));
    EXPECT_EQ(done.before, "Goes drak");
    EXPECT_EQ(done.after, "Goes dark");
    EXPECT_EQ(job().complaint, "Goes dark");
    ASSERT_EQ(job().corrections.size(), 1u);
    EXPECT_EQ(job().corrections[0].by, "R. Moor");
}

TEST_F(NoteJob, ANumberIsTakenAsANumberWhereTheMemberIsOne) {
    correction_.field = "housings";
    correction_.value = "1";
    must(correct_entry(t_.shop, correction_));
    EXPECT_EQ(job().housings, 1);
}

TEST_F(NoteJob, WhatWouldLeaveAJobThatNobodyCanReadIsNotAppended) {
    correction_.field = "housings";
    correction_.value = "two";
    const auto bad = correct_entry(t_.shop, correction_);
    ASSERT_FALSE(bad);
    EXPECT_EQ(bad.error().code, "entry-malformed");
    EXPECT_TRUE(job().corrections.empty());
}

TEST_F(NoteJob, AnEntryOrMemberThatIsNotThereCannotBePutRight) {
    CorrectRequest no_member = correction_;
    no_member.field = "colour";
    const auto member = correct_entry(t_.shop, no_member);
    ASSERT_FALSE(member);
    EXPECT_EQ(member.error().code, "entry-unknown");
    EXPECT_NE(member.error().problem.find("complaint"), std::string::npos);  // it says what there is
    CorrectRequest no_entry = correction_;
    no_entry.entry = 9;
    const auto entry = correct_entry(t_.shop, no_entry);
    ASSERT_FALSE(entry);
    EXPECT_EQ(entry.error().code, "entry-unknown");
    correction_.why.clear();
    const auto why = correct_entry(t_.shop, correction_);
    ASSERT_FALSE(why);
    EXPECT_EQ(why.error().place, Words(with(flag("why"))));
    EXPECT_TRUE(job().corrections.empty());
}

}  // namespace
}  // namespace fettle::workshop
