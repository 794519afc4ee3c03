#include "fettle/workshop/live_job.h"

#include <gtest/gtest.h>

#include "fettle/records/database.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

namespace fs = std::filesystem;

class LiveJobTest : public ::testing::Test {
protected:
    LiveJobTest() { t_.run(""); }
    void dark() { t_.add("mark", {{"event", "dark"}, {"source", "tap"}}); }
    TestJob t_;
};

TEST_F(LiveJobTest, SeesWhatWasWrittenSinceTheLastLookAndOnlyThen) {
    LiveJob live(t_.shop, t_.job());
    EXPECT_TRUE(must(live.look()));
    EXPECT_FALSE(must(live.look()));
    dark();
    t_.add("note", {{"text", "a"}});
    EXPECT_TRUE(must(live.look()));
    EXPECT_EQ(live.job().last_number, t_.job().last_number);
    EXPECT_EQ(live.job().runs.back().marks.size(), 1u);
    EXPECT_EQ(live.job().notes.back(), "a");
    EXPECT_FALSE(must(live.look()));
}

TEST_F(LiveJobTest, ACorrectionChangesWhatStandsBeforeIt) {
    LiveJob live(t_.shop, t_.job());
    must(live.look());
    t_.add("corrects", {{"entry", 1}, {"field", "complaint"}, {"value", "flickers"}, {"why", "w"}, {"by", "R"}});
    EXPECT_TRUE(must(live.look()));
    EXPECT_EQ(live.job().complaint, "flickers");
    EXPECT_EQ(live.job().corrections.size(), 1u);
}

// What was written while the book was another file, or away, is seen when it is there.
TEST_F(LiveJobTest, GoesOnWithAnotherBookInTheSamePlace) {
    LiveJob live(t_.shop, t_.job());
    must(live.look());
    fs::copy(t_.shop.home, t_.folder / "copy", fs::copy_options::recursive);
    fs::rename(t_.shop.home, t_.folder / "away");
    const auto gone = live.look();
    ASSERT_FALSE(gone);
    EXPECT_EQ(gone.error().code, "book-missing");
    EXPECT_EQ(live.job().runs.size(), 1u);
    fs::rename(t_.folder / "copy", t_.shop.home);
    dark();
    EXPECT_TRUE(must(live.look()));
    EXPECT_EQ(live.job().runs.back().marks.size(), 1u);
}

TEST_F(LiveJobTest, AnEntryThatDoesNotFollowIsRefusedAndTheJobStays) {
    LiveJob live(t_.shop, t_.job());
    must(live.look());
    dark();
    {
        auto db = must(records::Database::open(t_.shop.book_file(), {"book", {{}}}));
        must(db.run("update entries set data = replace(data, 'dark', 'back') where type = 'mark'"));
    }
    const auto edited = live.look();
    ASSERT_FALSE(edited);
    EXPECT_EQ(edited.error().code, "chain-broken");
    EXPECT_TRUE(live.job().runs.back().marks.empty());
}

}  // namespace
}  // namespace fettle::workshop
