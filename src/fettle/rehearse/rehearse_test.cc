#include "fettle/rehearse/rehearse.h"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fstream>
#include <vector>

#include "fettle/workshop/store.h"
#include "fettle/workshop/test_workshop.h"

namespace fettle::rehearse {
namespace {

namespace fs = std::filesystem;

class RehearseTest : public ::testing::Test {
protected:
    RehearseTest() {
        request_.family = "pelm";
        request_.from = "27.1.052";
        request_.speed = 1e6;
        request_.out = (t_.folder / "r").string();
        request_.check_with = "check";
    }
    Result<Rehearsed> rehearsed() { return rehearse(t_.shop, request_); }
    book::Job job(const Rehearsed& r) {
        workshop::Workshop inner = t_.shop;
        inner.home = fs::path(r.folder) / "home";
        auto job = workshop::load_job(inner, r.job);
        EXPECT_TRUE(job);
        return job ? *job : book::Job();
    }
    void expect_refused(const char* code) {
        const auto r = rehearsed();
        ASSERT_FALSE(r) << code;
        EXPECT_EQ(r.error().code, code);
    }
    workshop::TestWorkshop t_;
    Request request_;
};

TEST_F(RehearseTest, TheWholeJobOnAVirtualSetAndNothingElseTouched) {
    std::vector<std::size_t> acts;
    int looks = 0, matter = 0;
    request_.every_look = true;
    request_.tell = [&](const Told& told) {
        if (const auto* done = std::get_if<Done>(&told)) acts.push_back(done->outcome.index());
        if (const auto* look = std::get_if<Looked>(&told)) {
            ++looks;
            matter += look->matters;
        }
    };
    const auto r = rehearsed();
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_FALSE(r->broken_off);
    EXPECT_FALSE(r->cut);
    EXPECT_LE(r->judgement.verdict(), Verdict::mind);
    EXPECT_GT(r->ran_s, 60);
    for (const std::string& file : r->files) EXPECT_TRUE(fs::exists(fs::path(r->folder) / file)) << file;
    const book::Job done = job(*r);
    ASSERT_EQ(done.handovers.size(), 1u);
    ASSERT_EQ(done.runs.size(), 1u);
    EXPECT_TRUE(done.open_ends().empty());
    EXPECT_FALSE(fs::exists(t_.shop.home));
    ASSERT_FALSE(acts.empty());
    EXPECT_EQ(acts.front(), 0u);                               // taken in
    EXPECT_EQ(acts.back(), std::variant_size_v<Outcome> - 2);  // its sheet was checked
    EXPECT_GT(looks, matter);
    EXPECT_GE(matter, 2);  // it asks, it ends
    request_.go_on = request_.out;
    request_.out.clear();
    expect_refused("rehearsal-ended");
}

// The program was ended in the middle: what it had marked is not marked again, and nothing is lost.
TEST_F(RehearseTest, GoesOnWhereItWasEnded) {
    const auto whole = rehearsed();
    ASSERT_TRUE(whole) << whole.error().message();
    request_.out = (t_.folder / "second").string();
    const pid_t child = ::fork();
    if (child == 0) {
        request_.tell = [](const Told& told) {
            if (std::holds_alternative<Looked>(told)) ::_exit(7);
        };
        (void)rehearsed();
        ::_exit(0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    ASSERT_TRUE(WIFEXITED(status));
    ASSERT_EQ(WEXITSTATUS(status), 7);
    request_.go_on = request_.out;
    request_.out.clear();
    int replayed = 0;
    request_.tell = [&](const Told& told) {
        if (const auto* t = std::get_if<TakesUp>(&told)) replayed = t->signs;
    };
    const auto r = rehearsed();
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_GT(replayed, 0);
    const auto one = job(*whole), two = job(*r);
    ASSERT_EQ(one.runs.size(), 1u);
    ASSERT_EQ(two.runs.size(), 1u);
    ASSERT_EQ(one.runs[0].marks.size(), two.runs[0].marks.size());
    for (std::size_t k = 0; k < one.runs[0].marks.size(); ++k) {
        EXPECT_EQ(one.runs[0].marks[k].event, two.runs[0].marks[k].event);
        EXPECT_EQ(one.runs[0].marks[k].at - one.runs[0].started, two.runs[0].marks[k].at - two.runs[0].started);
    }
}

TEST_F(RehearseTest, ACutIsHeldAgainstTheMapAndMendIsAsked) {
    request_.cut_at = 120;
    bool told = false;
    request_.tell = [&](const Told& t) { told = told || std::holds_alternative<PowerWent>(t); };
    const auto r = rehearsed();
    ASSERT_TRUE(r) << r.error().message();
    EXPECT_TRUE(told);
    ASSERT_TRUE(r->cut);
    EXPECT_DOUBLE_EQ(r->cut->at_s, 120);
    EXPECT_TRUE(r->cut->agree());
    EXPECT_FALSE(r->cut->map_said.empty());
}

TEST(Cut, AgreesOnlyWithWhatTheMapNamed) {
    Cut cut;
    cut.came = standin::Fate::bench_repair;
    EXPECT_FALSE(cut.agree());
    cut.map_said = {cutmap::Outcome::same_card};
    EXPECT_FALSE(cut.agree());
    cut.map_said.insert(cutmap::Outcome::bench_repair);
    EXPECT_TRUE(cut.agree());
}

TEST_F(RehearseTest, AWrongRequestMakesNothing) {
    request_.speed = 0;
    expect_refused("bad-speed");
    request_.speed = 1e6;
    request_.cut_at = -1;
    expect_refused("bad-cut");
    request_.cut_at.reset();
    request_.family = "nosuch";
    expect_refused("family-unknown");
    EXPECT_FALSE(fs::exists(request_.out));
    request_.family = "pelm";
    request_.from = "1.2.3";
    expect_refused("release-unknown");
    EXPECT_FALSE(fs::exists(request_.out));
    request_.go_on = request_.out;
    expect_refused("go-on-with-others");
}

TEST_F(RehearseTest, AFolderOfSomebodyElseStaysAsItIs) {
    fs::create_directories(request_.out);
    std::ofstream(fs::path(request_.out) / "theirs") << "x";
    expect_refused("folder-not-empty");
    EXPECT_TRUE(fs::exists(fs::path(request_.out) / "theirs"));
    fs::remove(fs::path(request_.out) / "theirs");
    request_.from = "1.2.3";
    expect_refused("release-unknown");  // an empty one that was there before stays, and stays empty
    EXPECT_TRUE(fs::is_empty(request_.out));
}

}  // namespace
}  // namespace fettle::rehearse
