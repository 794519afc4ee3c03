#include "fettle/workshop/recordings.h"

#include <gtest/gtest.h>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/workshop/test_job.h"

namespace fettle::workshop {
namespace {

namespace fs = std::filesystem;

class Erase : public ::testing::Test {
protected:
    Erase() {
        must(make_folder(t_.shop.home));
        number_ = must(must(open_book(t_.shop)).open_job(R"({"customer":"1007","place":"bench"})", t_.clock.at));
        must(make_folder(folder()));
    }
    fs::path folder() const { return t_.shop.home / "recordings"; }
    void file(const fs::path& path, const std::string& text) { must(write_file_durably(path, text)); }
    void recorded(const std::string& name, const std::string& text) {
        const NewEntry e{"recorded", {{"file", name}, {"bytes", text.size()}, {"sha256", sha256_hex(text)}}};
        must(append_entries(t_.shop, number_, {e}));
    }
    TestWorkshop t_;
    std::string number_;
};

TEST_F(Erase, TakesWhatTheJournalNamesAndWhatAKilledCommandLeft) {
    file(folder() / (number_ + "-1.pcapng"), "one");
    recorded(number_ + "-1.pcapng", "one");
    recorded(number_ + "-2.pcapng", "two");                // not there any more
    file(folder() / (number_ + "-3.pcapng"), "three");     // nobody wrote it down
    file(folder() / "0002-1.pcapng", "of somebody else");  // no job's number but another's
    const Erased e = must(erase_recordings(t_.shop, {number_, "R"}));
    ASSERT_EQ(e.files.size(), 3u);
    EXPECT_FALSE(e.files[0].was_gone);
    EXPECT_EQ(e.files[0].sha256, sha256_hex("one"));
    EXPECT_TRUE(e.files[1].was_gone);
    EXPECT_EQ(e.files[2].sha256, sha256_hex("three"));
    EXPECT_TRUE(e.left.empty());
    EXPECT_TRUE(fs::exists(folder() / "0002-1.pcapng"));
    EXPECT_FALSE(fs::exists(folder() / (number_ + "-3.pcapng")));
    EXPECT_TRUE(must(erase_recordings(t_.shop, {number_, "R"})).files.empty());  // and nothing twice
}

TEST_F(Erase, AFileElsewhereThatIsNotAsItWasRecordedStays) {
    const fs::path elsewhere = t_.folder / "mine.pcapng";
    recorded(elsewhere.string(), "as it was");
    file(elsewhere, "something else");
    const Erased e = must(erase_recordings(t_.shop, {number_, "R"}));
    EXPECT_TRUE(e.files.empty());
    EXPECT_EQ(e.left, std::vector<std::string>{elsewhere.string()});
    EXPECT_EQ(e.judgement.verdict(), Verdict::halt);
    EXPECT_TRUE(fs::exists(elsewhere));
}

TEST_F(Erase, NeedsAName) {
    const auto e = erase_recordings(t_.shop, {number_, " "});
    ASSERT_FALSE(e);
    EXPECT_EQ(e.error().code, "erase-without-name");
}

TEST(Blank, WantsIdentifiersOfTwoBytes) {
    TestWorkshop t;
    for (const char* did : {"F1A5", "0xF1A", "0xF1A5A", "0xG1A5", ""}) {
        const auto b = blank_recording(t.shop, {"a.pcapng", "b.pcapng", {did}});
        ASSERT_FALSE(b);
        EXPECT_EQ(b.error().code, "bad-identifier") << did;
    }
}

}  // namespace
}  // namespace fettle::workshop
