#include "fettle/base/files.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>

namespace fettle {
namespace {

namespace fs = std::filesystem;

class Files : public ::testing::Test {
protected:
    Files() {
        std::string pattern = (fs::temp_directory_path() / "fettle-files-XXXXXX").string();
        folder = ::mkdtemp(pattern.data());
    }
    ~Files() override { fs::remove_all(folder); }
    std::size_t entries() const {
        return static_cast<std::size_t>(std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
    }
    fs::path folder;
};

TEST_F(Files, WritesWholeAndReadsBack) {
    const std::string content("a\0b\n", 4);
    ASSERT_TRUE(write_file_durably(folder / "x", content));
    EXPECT_EQ(read_text_file(folder / "x").value(), content);
    ASSERT_TRUE(write_file_durably(folder / "x", ""));
    EXPECT_EQ(read_text_file(folder / "x").value(), "");
    EXPECT_EQ(entries(), 1u);  // no temporary stays
}

TEST_F(Files, AFailedWriteLeavesTheOldFileAndNothingElse) {
    fs::create_directory(folder / "x");  // a folder cannot be replaced by a file
    std::ofstream(folder / "x" / "inside") << "kept";
    const auto r = write_file_durably(folder / "x", "new");
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().kind, ErrorKind::outside);
    EXPECT_EQ(entries(), 1u);
    EXPECT_TRUE(fs::exists(folder / "x" / "inside"));
    EXPECT_FALSE(write_file_durably(folder / "no" / "such" / "folder", "new"));
}

// The old bytes stand untouched until the new file has their name: whoever has the old one open still reads it whole,
// and a kill in between leaves it.
TEST_F(Files, AnOldFileIsNeverWrittenInto) {
    ASSERT_TRUE(write_file_durably(folder / "x", "what was there before"));
    std::ifstream old(folder / "x");
    ASSERT_TRUE(write_file_durably(folder / "x", "new"));
    std::string seen;
    std::getline(old, seen);
    EXPECT_EQ(seen, "what was there before");
    EXPECT_EQ(read_text_file(folder / "x").value(), "new");
}

TEST_F(Files, ALinkStaysALink) {
    ASSERT_TRUE(write_file_durably(folder / "x", "old"));
    fs::create_symlink("x", folder / "link");
    fs::create_symlink("loop", folder / "loop");
    fs::create_symlink("absent", folder / "dangling");
    ASSERT_TRUE(write_file_durably(folder / "link", "new"));
    EXPECT_TRUE(fs::is_symlink(folder / "link"));
    EXPECT_EQ(read_text_file(folder / "x").value(), "new");
    for (const char* nowhere : {"loop", "dangling"}) {
        const auto r = write_file_durably(folder / nowhere, "new");
        ASSERT_FALSE(r);
        EXPECT_EQ(r.error().code, "not-a-plain-file");
        EXPECT_TRUE(fs::is_symlink(folder / nowhere));
    }
    EXPECT_EQ(entries(), 4u);
}

TEST_F(Files, ReadingIsBounded) {
    ASSERT_TRUE(write_file_durably(folder / "x", std::string(100, 'a')));
    EXPECT_TRUE(read_text_file(folder / "x", 100));
    const auto r = read_text_file(folder / "x", 99);
    ASSERT_FALSE(r);
    EXPECT_EQ(r.error().code, "file-too-large");
    EXPECT_FALSE(read_text_file("/dev/zero", 1000));  // endless
}

TEST_F(Files, PipesAndDevicesAreRefusedAndNeverWaitedFor) {
    ASSERT_EQ(::mkfifo((folder / "pipe").c_str(), 0600), 0);  // nobody writes to it
    for (const fs::path& p : {folder / "pipe", fs::path("/dev/null")}) {
        const auto r = read_text_file(p);
        ASSERT_FALSE(r);
        EXPECT_EQ(r.error().code, "file-unreadable");
    }
}

TEST_F(Files, MissingFilesAndFoldersAreBadInput) {
    for (const fs::path& p : {folder / "absent", folder}) {
        const auto r = read_text_file(p);
        ASSERT_FALSE(r);
        EXPECT_EQ(r.error().kind, ErrorKind::bad_input);
        EXPECT_EQ(r.error().code, "file-unreadable");
    }
}

TEST_F(Files, FoldersAreMadeWithTheirParents) {
    EXPECT_TRUE(make_folder(folder / "a" / "b"));
    EXPECT_TRUE(make_folder(folder / "a" / "b"));
    ASSERT_TRUE(write_file_durably(folder / "file", ""));
    EXPECT_FALSE(make_folder(folder / "file" / "b"));
}

// Found by an attack: as root, a rename over /dev/null left a plain file in its place.
TEST_F(Files, NothingButAPlainFileIsReplaced) {
    const auto pipe = folder / "pipe";
    ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
    const Status onto = write_file_durably(pipe, "x");
    ASSERT_FALSE(onto);
    EXPECT_EQ(onto.error().code, "not-a-plain-file");
    EXPECT_TRUE(std::filesystem::is_fifo(pipe));
}

TEST(ErrorMessage, HasPlaceProblemAndNextStep) {
    const Error e{ErrorKind::bad_input, "x", "line 3", "is a text", "write a number"};
    EXPECT_EQ(e.message(), "line 3: is a text. Next: write a number.");
}

}  // namespace
}  // namespace fettle
