#include "fettle/workshop/read_jobs.h"

#include <gtest/gtest.h>

#include "fettle/records/database.h"
#include "fettle/workshop/loose_ends.h"
#include "fettle/workshop/note_job.h"
#include "fettle/workshop/take_in.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

class ReadJobs : public ::testing::Test {
protected:
    std::string open(const char* customer) {
        TakeInRequest r;
        r.customer = customer;
        r.keep = {must(thing_typed("map card"))};
        return must(take_in(t_.shop, r)).job;
    }
    // As somebody would with another program.
    void edit(const std::string& job, const std::string& data) {
        auto editor = must(records::Database::open(t_.shop.book_file(), {"book", {{}}}));
        must(editor.run("update entries set data = '" + data + "' where job = '" + job + "' and number = 2"));
    }
    TestWorkshop t_;
};

TEST_F(ReadJobs, ALookMakesNoBook) {
    EXPECT_EQ(must(list_jobs(t_.shop)).no_book_in, t_.shop.home.string());
    EXPECT_FALSE(std::filesystem::exists(t_.shop.home));
}

TEST_F(ReadJobs, EachJobInOneLineOldestFirst) {
    const std::string first = open("1007"), second = open("1008");
    must(settle_loose_end(t_.shop, {second, "keeping-1", "in the post", "R"}));
    const JobList list = must(list_jobs(t_.shop));
    EXPECT_EQ(list.no_book_in, "");
    ASSERT_EQ(list.jobs.size(), 2u);
    EXPECT_EQ(list.jobs[0].number, first);
    EXPECT_EQ(list.jobs[0].open_ends, 1u);
    EXPECT_EQ(list.jobs[1].customer, "1008");
    EXPECT_EQ(list.jobs[1].open_ends, 0u);
    EXPECT_FALSE(list.jobs[1].handed_over);
}

// Story 49: the record is edited behind Fettle's back. It is still shown, as far as it can be, and nobody adds to it.
TEST_F(ReadJobs, AnEditedRecordIsShownAsBrokenAndTakesNoNote) {
    const std::string whole = open("1007"), edited = open("1008");
    edit(edited, R"({"id":"keeping-1","words":"nothing"})");
    const JobList list = must(list_jobs(t_.shop));
    ASSERT_EQ(list.jobs.size(), 2u);
    EXPECT_TRUE(list.jobs[0].readable);
    EXPECT_FALSE(list.jobs[1].readable);
    ASSERT_TRUE(list.jobs[1].broken);
    EXPECT_EQ(list.jobs[1].broken->number, 2);
    const ShownJob shown = must(show_job(t_.shop, edited));
    EXPECT_EQ(shown.judgement.verdict(), Verdict::halt);
    EXPECT_EQ(shown.judgement.reasons.front().code, "chain-broken");
    EXPECT_TRUE(shown.job);
    EXPECT_EQ(must(show_job(t_.shop, whole)).judgement.verdict(), Verdict::mind);  // something is kept
    const auto noted = note_job(t_.shop, {edited, "seen", "R"});
    ASSERT_FALSE(noted);
    EXPECT_EQ(noted.error().code, "chain-broken");
}

TEST_F(ReadJobs, ABrokenRecordThatDoesNotAddUpIsShownWithoutItsJob) {
    const std::string edited = open("1008");
    edit(edited, "no JSON");
    const ShownJob shown = must(show_job(t_.shop, edited));
    EXPECT_FALSE(shown.job);
    EXPECT_NE(shown.why_not, "");
    EXPECT_EQ(shown.record.entries.size(), 2u);
}

}  // namespace
}  // namespace fettle::workshop
