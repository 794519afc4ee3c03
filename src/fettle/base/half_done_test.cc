#include "fettle/base/half_done.h"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <fstream>
#include <optional>
#include <thread>

#include "fettle/base/files.h"

namespace fettle {
namespace {

namespace fs = std::filesystem;

// What a child process does until somebody ends it; the parent sees how it ended and what it left.
class HalfDoneTest : public ::testing::Test {
protected:
    HalfDoneTest() {
        std::string pattern = (fs::temp_directory_path() / "fettle-half-XXXXXX").string();
        folder = ::mkdtemp(pattern.data());
    }
    ~HalfDoneTest() override { fs::remove_all(folder); }

    template <class Work>
    int ended_by(int signal, Work work) {
        int ready[2];
        EXPECT_EQ(::pipe(ready), 0);
        const pid_t child = ::fork();
        if (child == 0) {
            clear_away_when_ended();
            work([&] {
                (void)!::write(ready[1], "x", 1);
                ::sleep(20);
            });
            ::_exit(0);
        }
        char c = 0;
        EXPECT_EQ(::read(ready[0], &c, 1), 1);
        ::kill(child, signal);
        int status = 0;
        ::waitpid(child, &status, 0);
        ::close(ready[0]);
        ::close(ready[1]);
        return WIFSIGNALED(status) ? WTERMSIG(status) : 0;
    }
    fs::path folder;
};

TEST_F(HalfDoneTest, WhatIsHalfDoneGoesAndWhatIsWholeStays) {
    for (const int signal : {SIGINT, SIGTERM, SIGHUP}) {
        const int by = ended_by(signal, [&](auto wait) {
            fs::create_directories(folder / "half" / "inner");
            std::ofstream(folder / "half" / "inner" / "file") << "x";
            std::ofstream(folder / "whole") << "x";
            fs::create_directory_symlink(folder / "kept", folder / "half" / "link");
            const HalfDone half(folder / "half");
            {
                const HalfDone done(folder / "whole");
            }
            wait();
        });
        EXPECT_EQ(by, signal);
        EXPECT_FALSE(fs::exists(folder / "half"));
        EXPECT_TRUE(fs::exists(folder / "whole"));
    }
}

TEST_F(HalfDoneTest, AFolderThatWasThereIsEmptiedAndLinksAreNotFollowed) {
    fs::create_directories(folder / "given");
    fs::create_directories(folder / "kept");
    std::ofstream(folder / "kept" / "file") << "x";
    ended_by(SIGINT, [&](auto wait) {
        const HalfDone half(folder / "given", HalfDone::What::inside);
        std::ofstream(folder / "given" / "file") << "x";
        fs::create_directory_symlink(folder / "kept", folder / "given" / "link");
        wait();
    });
    EXPECT_TRUE(fs::is_empty(folder / "given"));
    EXPECT_TRUE(fs::exists(folder / "kept" / "file"));
}

// An interrupted rehearsal left its folder: its maker of packages made the folders again that had just been removed. Of
// 200 ended like this, some 36 left something.
TEST_F(HalfDoneTest, NothingComesBackByAThreadThatWorksOn) {
    for (int i = 0; i < 40; ++i) {
        std::optional<HalfDone> half;
        const int by = ended_by(SIGINT, [&](auto wait) {
            half.emplace(folder / "half");
            std::thread([&] {
                for (int k = 0;; ++k) {
                    const fs::path file = folder / "half" / std::to_string(k % 7) / std::to_string(k);
                    (void)make_folder(file.parent_path());
                    std::ofstream(file) << "x";
                }
            }).detach();
            ::usleep(static_cast<useconds_t>(1000 * (i % 10)));
            wait();
        });
        EXPECT_EQ(by, SIGINT);
        ASSERT_FALSE(fs::exists(folder / "half")) << i;
    }
}

TEST_F(HalfDoneTest, AnIgnoredSignalStaysIgnored) {
    const int by = ended_by(SIGINT, [&](auto wait) { wait(); });
    EXPECT_EQ(by, SIGINT);
    std::signal(SIGHUP, SIG_IGN);  // as nohup does; the child inherits it
    const int second = ended_by(SIGTERM, [&](auto wait) {
        ::raise(SIGHUP);
        wait();
    });
    std::signal(SIGHUP, SIG_DFL);
    EXPECT_EQ(second, SIGTERM);
}

}  // namespace
}  // namespace fettle
