#include "fettle/workshop/wall.h"

#include <gtest/gtest.h>

#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

watch::HandsAsk window(const std::string& text) {
    return must(watch::parse_hands_window(text));
}

TEST(WallOfRuns, IsEmptyWithoutABook) {
    TestWorkshop t;
    const Wall w = must(wall_of(t.shop, {}));
    EXPECT_TRUE(w.rows.empty());
    EXPECT_FALSE(w.next);
    EXPECT_FALSE(std::filesystem::exists(t.shop.book_file()));
}

TEST(WallOfRuns, HasTheOpenRunsAndTheWindowsThatWereGiven) {
    TestJob t;
    EXPECT_TRUE(must(wall_of(t.shop, {})).rows.empty());
    t.run("");
    t.clock.at -= 28 * 60'000;  // two minutes after the start
    WallRequest request;
    request.windows = {window("bench 2=0-1+3")};
    const Wall w = must(wall_of(t.shop, request));
    ASSERT_EQ(w.rows.size(), 2u);
    EXPECT_EQ(w.rows[0].bench, t.number);
    ASSERT_FALSE(w.rows[0].asks.empty());
    EXPECT_EQ(w.rows[1].bench, "bench 2");
    EXPECT_EQ(w.asks.size(), w.rows[0].asks.size() + 1);
    t.add("ended", {{"outcome", "broken off"}});
    EXPECT_TRUE(must(wall_of(t.shop, {})).rows.empty());
}

TEST(WallOfRuns, SaysWhenTheNextJobMayBeStarted) {
    TestJob t;
    WallRequest request;
    request.certainty = 1;
    request.windows = {window("bench 1=22-28+3")};
    request.next_window = window("bench 2=10-20+3");
    const Wall typed = must(wall_of(t.shop, request));
    ASSERT_TRUE(typed.next);
    // The first's last hands are done at 31 min, the second's first ask comes 10 min after its start.
    EXPECT_EQ(typed.next->after_s, 21 * 60);
    request.next_window.reset();
    request.next = t.number;
    request.certainty = 0.5;
    const Wall job = must(wall_of(t.shop, request));
    ASSERT_TRUE(job.next);
    EXPECT_EQ(job.next->name, "job " + t.number);
    request.next = "00000";
    EXPECT_FALSE(wall_of(t.shop, request));
    request.certainty = 0;
    EXPECT_EQ(wall_of(t.shop, request).error().code, "certainty-range");
}

TEST(WallOfRuns, AJobThatCannotBeReadHidesNoOther) {
    TestJob t;
    t.run("");
    std::filesystem::remove_all(t.shop.families_folder());
    const std::string other = must(must(open_book(t.shop)).open_job(R"({"customer":"1"})", t.clock.at));
    must(append_entries(t.shop, other,
                        {{"identified",
                          {{"family", "nobody-knows"},
                           {"family_digest", "x"},
                           {"release", ""},
                           {"verdict", "fit"},
                           {"reasons", json::array()}}},
                         {"started", {{"release", "1"}}}}));
    const Wall w = must(wall_of(t.shop, {}));
    ASSERT_EQ(w.rows.size(), 1u);
    EXPECT_EQ(w.rows[0].bench, t.number);
    ASSERT_EQ(w.judgement.reasons.size(), 1u);
    EXPECT_EQ(w.judgement.reasons[0].code, "job-not-shown");
    EXPECT_EQ(w.judgement.reasons[0].where, other);
}

}  // namespace
}  // namespace fettle::workshop
