#include "fettle/show/job.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"
#include "fettle/show/job_json.h"
#include "fettle/show/job_page.h"
#include "fettle/show/print.h"

namespace fettle::show {
namespace {

std::string text(const Answer& a) {
    return a.text.text([](const Proposal& act) { return std::string(name_of(act.act)); });
}
bool has(const std::string& page, const std::string& words) {
    return page.find(words) != std::string::npos;
}

workshop::ListedJob listed() {
    workshop::ListedJob j;
    j.number = "0001X";
    j.readable = true;
    j.customer = "1007";
    return j;
}

TEST(ShowJobs, TheStateIsTheOneThatMattersFirst) {
    workshop::JobList list;
    list.jobs = {listed(), listed(), listed(), listed()};
    list.jobs[1].open_ends = 1;
    list.jobs[2].open_ends = list.jobs[3].open_ends = 2;
    list.jobs[2].handed_over = list.jobs[3].handed_over = true;
    list.jobs[3].run_open = true;
    const Answer a = job_list(list);
    EXPECT_EQ(a.headline, "4 jobs in this bench book.");
    const std::string page = text(a);
    std::size_t at = 0;
    for (const char* state : {"nothing open", "1 open end ", "handed over", "a run is under way"}) {
        at = page.find(state, at);
        ASSERT_NE(at, std::string::npos) << state;
    }
    EXPECT_FALSE(a.verdict_matters);
}

TEST(ShowJobs, ABrokenRecordSaysNothingElseOfItself) {
    workshop::JobList list;
    list.jobs = {listed()};
    list.jobs[0].readable = false;
    list.jobs[0].broken = book::Break{3, "its digest is another"};
    const Answer a = job_list(list);
    EXPECT_TRUE(has(text(a), "RECORD BROKEN at entry 3: its digest is another"));
    EXPECT_FALSE(has(text(a), "1007"));
    EXPECT_EQ(a.data.at("jobs").as_array().at(0).as_object().at("chain").as_string(), "broken");
}

TEST(ShowJobs, AShownBrokenRecordCountsAsBadInput) {
    workshop::ShownJob shown;
    shown.record.number = "0001X";
    shown.record.broken = book::Break{2, "its digest is another"};
    shown.why_not = "entry 2 is no JSON";
    const Answer a = job_shown(shown, false);
    EXPECT_EQ(exit_code(a), 3);
    EXPECT_TRUE(has(text(a), "cannot be added up: entry 2 is no JSON"));
    EXPECT_FALSE(a.data.contains("job"));
    shown.record.broken.reset();
    shown.job = book::Job();
    EXPECT_EQ(exit_code(job_shown(shown, false)), 0);
}

TEST(ShowJobs, WorthDoingIsAskedOnlyOfAComplaint) {
    workshop::TakenIn taken;
    taken.job = "0001X";
    EXPECT_FALSE(has(text(taken_in(taken)), "Worth doing?"));
    taken.complains = true;
    EXPECT_TRUE(has(text(taken_in(taken)), "Without a plate that is known here"));
    taken.family_known = true;
    EXPECT_TRUE(has(text(taken_in(taken)), "Nothing is known"));
    taken.worth.push_back({"dunnock", {"27.3.118", "display dark after a stop", {}}});
    EXPECT_TRUE(has(text(taken_in(taken)), "The notes of dunnock 27.3.118 say: \"display dark after a stop\""));
}

// "Not read" is never "none".
TEST(JobPage, AMemoryThatNobodyReadIsNotEmpty) {
    book::Job job;
    EXPECT_TRUE(has(job_page(job), "faults before  not read\n"));
    job.faults_before.origin = Origin::typed;
    EXPECT_TRUE(has(job_page(job), "faults before  no entries (typed)\n"));
    job.faults_before.origin = Origin::read_in_part;
    job.faults_before.boxes["main"].read = true;
    job.faults_before.boxes["display"].read = false;
    EXPECT_TRUE(has(job_page(job), "no entries (read in part); not read: display\n"));
    const auto faults = job_as_json(job).at("faults_before").as_object();
    EXPECT_EQ(faults.at("origin").as_string(), "read-in-part");
    EXPECT_EQ(faults.at("not_read").as_array().size(), 1u);
}

TEST(JobPage, AMarkTakenBackIsNotShownAndAnOpenRunSaysSo) {
    book::Job job;
    book::Run run;
    run.release = "27.3.118";
    run.marks = {{1, "dark", 0, "tap", false, "", ""}, {2, "back", 0, "tap", true, "", ""}};
    job.runs = {run};
    EXPECT_TRUE(has(job_page(job), "still open"));
    EXPECT_TRUE(has(job_page(job), "dark (tap)\n"));
    EXPECT_FALSE(has(job_page(job), "back"));
}

TEST(JobPage, ALooseEndSaysHowItStands) {
    book::LooseEnd e;
    e.id = "keeping-1";
    e.words = "map card";
    e.owner = "the shop";
    e.consequence = "no handover";
    EXPECT_TRUE(has(loose_end_line(e), "OPEN, the shop: no handover"));
    e.blocks = false;
    EXPECT_TRUE(has(loose_end_line(e), "shown only: no handover"));
    e.signed_for = true;
    e.signed_by = "R";
    e.signed_reason = "Friday";
    EXPECT_TRUE(has(loose_end_line(e), "open, signed for by R: Friday"));
    e.settled = true;
    e.settled_how = "in the post";
    EXPECT_TRUE(has(loose_end_line(e), "was: map card"));
    EXPECT_TRUE(has(loose_end_line(e), "settled: in the post"));
}

TEST(JobPage, OfLongDataTheBeginningIsShownAndNoCharacterIsCut) {
    book::Entry e;
    e.number = 7;
    e.type = "note";
    e.digest = std::string(64, 'a');
    e.data = R"({"text":"short","by":"R"})";
    EXPECT_TRUE(has(journal_lines({e}), R"({"text":"short", "by":"R"})"));
    e.data = "{\"text\":\"" + std::string(190, 'x');
    for (int i = 0; i < 40; ++i) e.data += "ä";  // two bytes each: byte 200 is the second of one
    e.data += "\"}";
    const std::string line = journal_lines({e});
    EXPECT_TRUE(has(line, "(199 of 281 bytes; all with --json)"));
    EXPECT_EQ(line.find("\xC3\xE2"), std::string::npos);  // half a character before the ellipsis
}

}  // namespace
}  // namespace fettle::show
