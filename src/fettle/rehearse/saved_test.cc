#include "fettle/rehearse/saved.h"

#include <gtest/gtest.h>
#include <stdlib.h>

#include <fstream>
#include <utility>

namespace fettle::rehearse {
namespace {

namespace fs = std::filesystem;

class SavedTest : public ::testing::Test {
protected:
    SavedTest() {
        std::string pattern = (fs::temp_directory_path() / "fettle-saved-XXXXXX").string();
        folder_ = ::mkdtemp(pattern.data());
    }
    ~SavedTest() override { fs::remove_all(folder_); }
    fs::path folder_;
};

TEST_F(SavedTest, ComesBackAsItWasKept) {
    Saved s{"pelm", "26.3.017", "27.2.064", "0001X", 60, 7, 700.5, true, false};
    ASSERT_TRUE(save(folder_, s));
    auto back = saved_in(folder_);
    ASSERT_TRUE(back) << back.error().message();
    EXPECT_EQ(back->family, "pelm");
    EXPECT_EQ(back->from, "26.3.017");
    EXPECT_EQ(back->to, "27.2.064");
    EXPECT_EQ(back->job, "0001X");
    EXPECT_EQ(back->speed, 60);
    EXPECT_EQ(back->seed, 7u);
    EXPECT_EQ(back->cut_at, 700.5);
    EXPECT_TRUE(back->own_shelf);
    s.ended = true;
    s.cut_at.reset();
    ASSERT_TRUE(save(folder_, s));
    back = saved_in(folder_);
    ASSERT_FALSE(back);
    EXPECT_EQ(back.error().code, "rehearsal-ended");
    EXPECT_EQ(back.error().next.proposal()->act, Act::show_job);
}

TEST_F(SavedTest, WhatDoesNotSayWhatWasRehearsedIsNone) {
    for (const char* text : {"{}", "[]", R"({"family": "pelm", "from": "a", "to": 3, "job": "0001X"})"}) {
        std::ofstream(folder_ / "rehearsal.json") << text;
        const auto none = saved_in(folder_);
        ASSERT_FALSE(none) << text;
        EXPECT_EQ(none.error().code, "rehearsal-not-begun");
    }
}

TEST_F(SavedTest, TwoProgramsNeverGoOnWithOne) {
    const auto nothing = Lock::take(folder_);
    ASSERT_FALSE(nothing);
    EXPECT_EQ(nothing.error().code, "rehearsal-not-begun");
    ASSERT_TRUE(save(folder_, {"pelm", "a", "b", "0001X", 1, 1, {}, false, false}));
    {
        auto held = Lock::take(folder_);
        ASSERT_TRUE(held);
        const Lock moved = std::move(*held);
        const auto second = Lock::take(folder_);
        ASSERT_FALSE(second);
        EXPECT_EQ(second.error().code, "rehearsal-busy");
    }
    EXPECT_TRUE(Lock::take(folder_));
}

}  // namespace
}  // namespace fettle::rehearse
