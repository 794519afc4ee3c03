// Cards laid into image files.
#include "fettle/card/lay_test_help.h"

namespace fettle::card {
namespace {

TEST(LayImage, IsSparseAndLeavesNothingBesideIt) {
    const Folder folder;
    const auto image = folder.path / "card.img";
    const auto laid = lay_image(test::sources(some_files()), plain, std::uint64_t{4} << 30, digest, image, false);
    ASSERT_TRUE(laid) << laid.error().message();
    EXPECT_EQ(fs::file_size(image), std::uint64_t{4} << 30);
    struct stat st{};
    ASSERT_EQ(::stat(image.c_str(), &st), 0);
    EXPECT_LT(st.st_blocks * 512, 2 << 20);
    EXPECT_EQ(folder.names(), std::vector<std::string>{"card.img"});
    EXPECT_EQ(read_back(**open_for_reading(image)).size(), 4u);
}

TEST(LayImage, ChoosesTheSmallestPowerOfTwoThatHoldsIt) {
    family::CardRule rule;
    EXPECT_EQ(*image_bytes_for({}, rule), 64u << 20);  // 32 MiB has too few sectors for FAT32
    rule.cluster_kib = {4};
    EXPECT_EQ(*image_bytes_for({}, rule), 512u << 20);
    rule.min_bytes = std::uint64_t{1} << 31;
    EXPECT_EQ(*image_bytes_for({}, rule), std::uint64_t{1} << 31);
    rule.max_bytes = std::uint64_t{1} << 30;
    EXPECT_EQ(image_bytes_for({}, rule).error().code, "card-too-small");
    const std::vector<SourceFile> large{{"a", 470u << 20, "", {}}};
    EXPECT_EQ(*image_bytes_for(large, family::CardRule{}), 1024u << 20);  // an eighth to spare
}

TEST(LayImage, RefusesWhatIsThereAlreadyAndLeavesItAlone) {
    const Folder folder;
    const auto image = folder.path / "card.img";
    std::ofstream(image) << "mine";
    const auto laid = lay_image(test::sources(some_files()), plain, 0, digest, image, false);
    EXPECT_EQ(laid.error().code, "image-exists");
    EXPECT_EQ(fs::file_size(image), 4u);
    ASSERT_TRUE(lay_image(test::sources(some_files()), plain, 0, digest, image, true));
    EXPECT_GT(fs::file_size(image), 4u);
    EXPECT_EQ(lay_image({}, plain, 0, digest, folder.path, true).error().code, "image-exists");
    EXPECT_EQ(lay_image({}, plain, 0, digest, "/dev/null", true).error().code, "image-exists");
    EXPECT_EQ(lay_image({}, plain, 0, digest, folder.path / "no" / "such", false).error().code, "image-not-made");
    EXPECT_EQ(folder.names(), std::vector<std::string>{"card.img"});
}

TEST(LayImage, ARefusedSourceLeavesNothing) {
    const Folder folder;
    auto sources = test::sources(some_files());
    sources[2].sha256 = std::string(64, '0');
    EXPECT_EQ(lay_image(sources, plain, 0, digest, folder.path / "card.img", false).error().code, "source-differs");
    EXPECT_TRUE(folder.names().empty());
}

TEST(LayImage, AFullDiskIsSaidAndLeavesNothing) {
    const Folder folder;
    if (::mount("tmpfs", folder.path.c_str(), "tmpfs", 0, "size=1m") != 0)
        GTEST_SKIP() << "skipped: needs the right to mount";
    const auto laid = lay_image(test::sources({{"large.bin", test::noise(1, 3u << 20)}}), plain, 0, digest,
                                folder.path / "card.img", false);
    const auto left = folder.names();
    ::umount2(folder.path.c_str(), MNT_DETACH);
    ASSERT_FALSE(laid);
    EXPECT_EQ(laid.error().code, "device-write-failed");
    EXPECT_EQ(laid.error().kind, ErrorKind::outside);
    EXPECT_NE(laid.error().problem.find("No space left"), std::string::npos);
    EXPECT_TRUE(left.empty());
}

// A kill in the middle leaves no card under the final name; the next run clears what was left.
TEST(LayImage, AKillLeavesNoCardAndTheNextRunClearsUp) {
    const Folder folder;
    const auto image = folder.path / "card.img";
    const pid_t child = ::fork();
    if (child == 0) {
        auto sources = test::sources(some_files());
        sources[2].send = [](const Sink&) -> Status {
            ::kill(::getpid(), SIGKILL);
            return {};
        };
        (void)lay_image(sources, plain, 0, digest, image, false);
        ::_exit(0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    ASSERT_TRUE(WIFSIGNALED(status));
    EXPECT_EQ(folder.names(), std::vector<std::string>{"card.img.part"});
    auto left = open_for_reading(folder.path / "card.img.part");
    EXPECT_FALSE(Volume::open(**left));
    ASSERT_TRUE(lay_image(test::sources(some_files()), plain, 0, digest, image, false));
    EXPECT_EQ(folder.names(), std::vector<std::string>{"card.img"});
}

}  // namespace
}  // namespace fettle::card
