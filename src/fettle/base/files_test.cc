#include "fettle/base/files.h"

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <fstream>

namespace fettle {
namespace fs = std::filesystem;
namespace {

class Files : public testing::Test {
protected:
    void SetUp() override {
        std::string name = (fs::temp_directory_path() / "fettle-files-XXXXXX").string();
        ASSERT_NE(::mkdtemp(name.data()), nullptr);
        folder = name;
    }
    void TearDown() override { fs::remove_all(folder); }
    std::size_t count() const {
        return static_cast<std::size_t>(std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
    }
    fs::path folder;
};

TEST_F(Files, WrittenIsRead) {
    const std::string content("a\0b\n", 4);
    ASSERT_TRUE(write_file_durably(folder / "x", "old"));
    ASSERT_TRUE(write_file_durably(folder / "x", content));
    EXPECT_EQ(read_text_file(folder / "x").value(), content);
    EXPECT_EQ(count(), 1u);
}

TEST_F(Files, WhatCannotBeReadIsNamed) {
    EXPECT_EQ(read_text_file(folder / "none").error().code, "file-unreadable");
    EXPECT_EQ(read_text_file(folder / "none").error().place, (folder / "none").string());
    EXPECT_EQ(read_text_file(folder).error().code, "file-unreadable");
}

TEST_F(Files, TheLimitIsAllowedAndOneMoreIsNot) {
    ASSERT_TRUE(write_file_durably(folder / "x", std::string(100, 'x')));
    EXPECT_TRUE(read_text_file(folder / "x", 100));
    EXPECT_EQ(read_text_file(folder / "x", 99).error().code, "file-too-large");
}

// A disk that takes no more, by way of the process's limit on file size.
TEST_F(Files, AFullDiskLeavesTheOldFileAndNothingElse) {
    ASSERT_TRUE(write_file_durably(folder / "x", "old"));
    const pid_t child = ::fork();
    if (child == 0) {
        std::signal(SIGXFSZ, SIG_IGN);
        const rlimit limit{1000, 1000};
        ::setrlimit(RLIMIT_FSIZE, &limit);
        const Status done = write_file_durably(folder / "x", std::string(5000, 'n'));
        ::_exit(!done && done.error().kind == ErrorKind::outside ? 0 : 1);
    }
    int status = 1;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    EXPECT_EQ(read_text_file(folder / "x").value(), "old");
    EXPECT_EQ(count(), 1u);
}

TEST_F(Files, AKillLeavesTheOldContentOrTheNew) {
    const std::string before(200000, 'o'), after(200000, 'n');
    for (int round = 0; round < 20; ++round) {
        ASSERT_TRUE(write_file_durably(folder / "x", before));
        const pid_t child = ::fork();
        if (child == 0) {
            for (;;) (void)write_file_durably(folder / "x", after);
        }
        ::usleep(static_cast<useconds_t>(100 + 211 * round));
        ::kill(child, SIGKILL);
        ::waitpid(child, nullptr, 0);
        const std::string now = read_text_file(folder / "x").value();
        EXPECT_TRUE(now == before || now == after) << now.size();
    }
}

TEST_F(Files, Folders) {
    EXPECT_TRUE(make_folder(folder / "a/b/c"));
    EXPECT_TRUE(make_folder(folder / "a/b/c"));
    std::ofstream(folder / "file") << "x";
    EXPECT_EQ(make_folder(folder / "file/below").error().kind, ErrorKind::outside);
}

}  // namespace
}  // namespace fettle
