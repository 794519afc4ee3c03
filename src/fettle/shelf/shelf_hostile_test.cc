// Archives and indexes that are cut, damaged, encrypted or made to harm: none gets in, and the disk stays as it was.
#include "fettle/shelf/shelf_case_test_help.h"

namespace fettle::shelf {
namespace {

TEST_F(ShelfTest, WhatIsNoArchiveIsNamed) {
    const auto refused_file = [&](const std::string& content, const std::string& code) {
        write(t.path / "f", content);
        expect_refused(request(t.path / "f"), {code});
    };
    refused_file("", "package-empty");
    refused_file("\n <!DOCTYPE html><html><body>Please sign in</body></html>", "package-web-page");
    refused_file("\xef\xbb\xbf<html>", "package-web-page");
    refused_file("\x1f\x8b\x08 and so on", "archive-damaged");
    refused_file(std::string("7z\xbc\xaf\x27\x1c") + "....", "archive-cut");
    refused_file(std::string(257, 'a') + "ustar and so on", "archive-damaged");
    refused_file("just words", "package-not-archive");
    expect_refused(request(t.path / "nowhere"), {"package-missing"});
}

TEST_F(ShelfTest, AZipCutAnywhereIsRefused) {
    const std::string whole = zip_of(Made()).finish();
    for (std::size_t size = 4; size < whole.size(); size += 1 + size / 7) {
        write(t.path / "cut.zip", whole.substr(0, size));
        expect_refused(request(t.path / "cut.zip"), {"archive-cut"});
    }
}

TEST_F(ShelfTest, AZipWithAFlippedByteIsNeverShelvedWithOtherContent) {
    const Made made;
    const std::string whole = zip_of(made).finish();
    int refused = 0;
    for (std::size_t at = 0; at < whole.size(); at += 1 + whole.size() / 150) {
        std::string bad = whole;
        bad[at] = static_cast<char>(bad[at] ^ 0x20);
        write(t.path / "bad.zip", bad);
        if (!refusal(shelf(), request(t.path / "bad.zip")).empty()) {
            ++refused;
            continue;
        }
        // The byte did not matter (a time, a padding): then what is on the shelf is what was signed.
        for (const auto& [path, content] : made.pieces) EXPECT_EQ(content_of(shelf(), "27.3.118", path), content);
    }
    EXPECT_GT(refused, 100);
}

// Story 31 and the attack list, as archives that no program would make.
TEST_F(ShelfTest, HostileArchivesNeverGetIn) {
    const Made made;
    const auto hostile = [&](const std::string& name, unsigned mode, const Codes& codes) {
        ZipWriter z = zip_of(made);
        z.add(name, "x", mode);
        expect_refused_zip(z, codes);
    };
    hostile("../evil.bin", 0100644, {"name-parent", "file-surplus"});
    hostile("main/../../evil.bin", 0100644, {"name-parent", "file-surplus"});
    hostile("/evil.bin", 0100644, {"name-absolute", "file-surplus"});
    hostile("main\\evil.bin", 0100644, {"file-surplus"});  // the archive reader already made a folder of it
    hostile("c:evil.bin", 0100644, {"name-drive", "name-character", "file-surplus"});
    hostile("Release.json", 0100644, {"names-clash", "file-surplus"});
    hostile("Main/kernel2.bin", 0100644, {"names-clash", "file-surplus"});
    hostile("main/kernel.bin.", 0100644, {"names-clash", "name-trailing", "file-surplus"});
    hostile("aux.bin", 0100644, {"name-device", "file-surplus"});
    hostile(
        "a\x01"
        "b",
        0100644, {"name-control", "file-surplus"});
    hostile(std::string(256, 'a'), 0100644, {"name-too-long", "file-surplus"});
    hostile("link", 0120777, {"member-link"});
    hostile("main/kernel.bin", 0100644, {"file-twice", "size-differs"});
    EXPECT_FALSE(fs::exists(t.path / "evil.bin"));
}

TEST_F(ShelfTest, HostileNamesInTheIndexNeverGetIn) {
    for (const auto& [name, code] : std::map<std::string, std::string>{{"../evil.bin", "name-parent"},
                                                                       {"/evil.bin", "name-absolute"},
                                                                       {"main/con", "name-device"},
                                                                       {"main/KERNEL.bin", "names-clash"}}) {
        Made made;
        made.extra_in_index[name] = "x";
        fs::remove_all(t.path / "p");
        expect_refused(request(made.folder(t.path / "p")), {code, "file-missing"});
    }
}

TEST_F(ShelfTest, EncryptedEntriesAreRefused) {
    ZipWriter z;
    const Made made;
    z.add("release.json", made.index()).add("release.sig", made.signature());
    bool first = true;
    for (const auto& [path, content] : made.pieces) {
        z.add(path, content, 0100644, std::nullopt, first ? 0x801 : 0x800);
        first = false;
    }
    expect_refused_zip(z, {"archive-encrypted", "file-missing"});
}

// Zeros that deflate to a thousandth; the index says twelve bytes.
TEST_F(ShelfTest, AnExpansionBeyondTheIndexStopsAtOnce) {
    if (shell("command -v zip") != 0) GTEST_SKIP() << "skipped: no zip program";
    const Made made;
    const fs::path folder = made.folder(t.path / "p");
    fs::resize_file(folder / "main/kernel.bin", 48u << 20);
    zipped(folder, t.path / "p.zip");
    std::uint64_t most = 0;
    const auto no = shelf().add(dunnock(), request(t.path / "p.zip"), noon(),
                                [&](const char*, std::uint64_t done, std::uint64_t) { most = std::max(most, done); });
    EXPECT_FALSE(no);
    EXPECT_LT(most, 2u << 20) << "of 48 MiB";
    expect_refused(request(t.path / "p.zip"), {"size-differs", "size-bomb"});
}

TEST_F(ShelfTest, WhatDesktopsLeaveBehindIsNotShelvedAndHarmsNothing) {
    const Made made;
    const fs::path folder = made.folder(t.path / "p");
    write(folder / ".DS_Store", "x");
    write(folder / "System Volume Information" / "IndexerVolumeGuid", "x");
    const auto added = shelf().add(dunnock(), request(folder), noon());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_TRUE(has_code(added->vetting.judgement, "desktop-leftover"));
    EXPECT_EQ(shelf().files("", "27.3.118")->size(), 4u);
}

}  // namespace
}  // namespace fettle::shelf
