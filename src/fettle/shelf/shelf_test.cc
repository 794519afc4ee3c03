#include "fettle/shelf/shelf.h"

#include <sys/wait.h>
#include <unistd.h>

#include <clocale>
#include <csignal>
#include <thread>

#include "fettle/base/files.h"
#include "fettle/shelf/shelf_test_help.h"

namespace fettle::shelf {
namespace {

using Codes = std::set<std::string>;

struct ShelfTest : testing::Test {
    void SetUp() override {
        std::setlocale(LC_CTYPE, "C.UTF-8");
        opened.emplace(Shelf::open(home).value());
    }
    Shelf& shelf() { return *opened; }

    // Refused for these reasons, and the disk is as it was.
    void expect_refused(const AddRequest& r, const Codes& codes, const family::Family& f = dunnock()) {
        const auto before = snapshot(home);
        EXPECT_EQ(refusal(shelf(), r, f), codes) << r.package;
        EXPECT_EQ(snapshot(home), before) << r.package;
        EXPECT_TRUE(shelf().list()->empty());
    }
    void expect_refused_zip(const ZipWriter& z, const Codes& codes) {
        write(t.path / "p.zip", z.finish());
        expect_refused(request(t.path / "p.zip"), codes);
    }

    TempFolder t;
    fs::path home = t.path / "shelf";
    std::optional<Shelf> opened;
};

std::string content_of(const Shelf& shelf, std::string_view release, std::string_view path) {
    std::string out;
    const auto ok = shelf.read("dunnock", release, path, [&](ByteView b) {
        out += as_text(b);
        return Status();
    });
    return ok ? out : ok.error().code;
}

TEST_F(ShelfTest, AFolderGoesInAndComesBackBitForBit) {
    const Made made;
    const auto added = shelf().add(dunnock(), request(made.folder(t.path / "p")), noon());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_EQ(added->vetting.judgement.verdict(), Verdict::fit);
    EXPECT_EQ(added->vetting.signature, SignatureState::good);
    EXPECT_EQ(added->vetting.files, 4u);

    const Shelved s = Shelf::open(home)->find("", "27.3.118").value();
    EXPECT_EQ(s.release.cures, std::vector<std::string>{"Reversing picture freezes"});
    EXPECT_EQ(s.release.piece("main", "main/kernel.bin")->version, "27.3.118");
    EXPECT_EQ(s.slip.from, "portal of Vellmoor");
    EXPECT_EQ(s.slip.at, noon().now());
    EXPECT_EQ(s.may_be_laid().verdict(), Verdict::fit);
    const auto files = shelf().files("dunnock", "27.3.118").value();
    ASSERT_EQ(files.size(), 4u);
    EXPECT_EQ(files[0].path, "release.json");
    EXPECT_EQ(files[1].path, "release.sig");
    EXPECT_EQ(content_of(shelf(), "27.3.118", "release.json"), made.index());
    EXPECT_EQ(content_of(shelf(), "27.3.118", "release.sig"), made.signature());
    for (const auto& [path, content] : made.pieces) EXPECT_EQ(content_of(shelf(), "27.3.118", path), content);
    EXPECT_TRUE(fs::is_empty(home / "staging"));
}

// The folder's own digest can be made with sha256sum: over its lines, sorted by path.
TEST_F(ShelfTest, AFoldersDigestIsThatOfItsSha256sumLines) {
    const Made made;
    const fs::path folder = made.folder(t.path / "p");
    const auto added = shelf().add(dunnock(), request(folder), noon());
    ASSERT_TRUE(added);
    ASSERT_EQ(
        shell("cd '" + folder.string() + "' && find . -type f -printf '%P\\n' | LC_ALL=C sort | xargs sha256sum >'" +
              (t.path / "lines").string() + "' && sha256sum '" + (t.path / "lines").string() +
              "' | cut -c1-64 | grep -q " + added->shelved.slip.package_sha256),
        0);
}

TEST_F(ShelfTest, AZipGoesInAndHasTheDigestOfItsBytes) {
    const Made made;
    write(t.path / "p.zip", zip_of(made).finish());
    const auto added = shelf().add(dunnock(), request(t.path / "p.zip"), noon());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_EQ(added->shelved.slip.package_sha256, sha256_hex_of_file(t.path / "p.zip").value());
    EXPECT_EQ(content_of(shelf(), "27.3.118", "main/fonts.bin"), made.pieces.at("main/fonts.bin"));
}

TEST_F(ShelfTest, AnArchiveOfTheZipProgramGoesIn) {
    if (shell("command -v zip") != 0) GTEST_SKIP() << "skipped: no zip program";
    Made made;
    made.pieces
        ["main/\xc3\x9c"
         "bersicht.txt"] = "n\xc3\xa4mlich";
    made.folder(t.path / "p");
    const auto added = shelf().add(dunnock(), request(zipped(t.path / "p", t.path / "p.zip")), noon());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_EQ(content_of(shelf(), "27.3.118",
                         "main/\xc3\x9c"
                         "bersicht.txt"),
              "n\xc3\xa4mlich");
}

// --- what is refused
// --------------------------------------------------------------------------------------------------

// Story 32: same size, one byte changed: the digest names the piece.
TEST_F(ShelfTest, OneByteChangedNamesThePiece) {
    Made made;
    const fs::path folder = made.folder(t.path / "p");
    write(folder / "main/kernel.bin", "kernel bytez");
    Vetting v;
    const auto no = shelf().add(dunnock(), request(folder), noon(), {}, &v);
    ASSERT_FALSE(no);
    EXPECT_EQ(no.error().code, "package-refused");
    EXPECT_EQ(no.error().kind, ErrorKind::bad_input);
    EXPECT_NE(no.error().problem.find("[digest-differs] main/kernel.bin: is not what the index says: sha256 "),
              std::string::npos)
        << no.error().problem;
    expect_refused(request(folder), {"digest-differs"});
}

TEST_F(ShelfTest, EveryFindingIsToldInOnePass) {
    Made made;
    made.extra_in_index["main/missing.bin"] = "never written";
    const fs::path folder = made.folder(t.path / "p");
    write(folder / "main/kernel.bin", "kernel bytez");
    write(folder / "main/fonts.bin", "short");
    write(folder / "stray.txt", "nobody vouches for me");
    fs::create_symlink("/etc/hostname", folder / "link");
    expect_refused(request(folder), {"digest-differs", "size-differs", "file-missing", "file-surplus", "member-link"});
}

TEST_F(ShelfTest, ABadSignatureStopsBeforeTheIndexIsBelieved) {
    Made made;
    made.family = "another";  // would be said if the index were believed
    const fs::path folder = made.folder(t.path / "p");
    write(folder / "release.sig", std::string(64, 's'));
    expect_refused(request(folder), {"signature-bad"});
    write(folder / "release.sig", "");
    expect_refused(request(folder), {"signature-bad"});
}

// A maker who signs, and a package without its signature: stripping it would be the way round every check of it.
TEST_F(ShelfTest, WithoutTheMakersSignatureItIsRefused) {
    Made made;
    made.sign = false;
    expect_refused(request(made.folder(t.path / "p")), {"signature-missing"});
}

TEST_F(ShelfTest, WithoutASignatureTheOriginIsNotProven) {
    Made made;
    made.sign = false;
    const auto added = shelf().add(dunnock_unsigned_too(), request(made.folder(t.path / "p")), noon());
    ASSERT_TRUE(added);
    EXPECT_EQ(added->vetting.judgement.verdict(), Verdict::mind);
    EXPECT_TRUE(has_code(added->shelved.vetted, "signature-absent"));
    EXPECT_EQ(shelf().find("", "27.3.118")->vetted.verdict(), Verdict::mind);
}

TEST_F(ShelfTest, WhatTheIndexClaimsMustFitTheFamily) {
    const auto refused_for = [&](auto change, const Codes& codes) {
        Made made;
        change(made);
        fs::remove_all(t.path / "p");
        expect_refused(request(made.folder(t.path / "p")), codes);
    };
    refused_for([](Made& m) { m.family = "brill"; }, {"wrong-family"});
    refused_for([](Made& m) { m.box = "amplifier"; }, {"index-faults"});
    refused_for([](Made& m) { m.region = "cellar"; }, {"index-faults"});
    refused_for([](Made& m) { m.extra_in_index["release.sig"] = "x"; }, {"index-path-twice", "size-bomb"});
}

// Story 32, second half: an index with CRC-32 or MD5 alone.
TEST_F(ShelfTest, WeakDigestsHoldAgainstAccidentOnly) {
    for (const char* name : {"crc32", "md5", "sha1"}) {
        family::Family f = dunnock();
        f.package->piece_fields.erase("sha256");
        f.package->piece_fields[name] = std::string("/") + name;
        Made made;
        made.digest_name = name;
        made.release = std::string("27.") + std::to_string(name[0]) + ".1";
        const fs::path folder = made.folder(t.path / name);
        const auto added = shelf().add(f, request(folder), noon());
        ASSERT_TRUE(added) << added.error().message();
        EXPECT_TRUE(has_code(added->vetting.judgement, "digest-weak"));
        for (const Reason& r : added->shelved.vetted.reasons)
            if (r.code == "digest-weak") {
                EXPECT_NE(r.text.find("whole against accident, not against intent"), std::string::npos);
            }
        made.release += "1";
        fs::remove_all(folder);
        made.folder(folder);
        write(folder / "main/kernel.bin", "kernel bytez");
        EXPECT_EQ(refusal(shelf(), request(folder), f), Codes{"digest-differs"}) << name;
    }
}

TEST_F(ShelfTest, StrongDigestsOtherThanSha256HoldToo) {
    family::Family f = dunnock();
    f.package->piece_fields.erase("sha256");
    f.package->piece_fields["sha512"] = "/sha512";
    Made made;
    made.digest_name = "sha512";
    const auto added = shelf().add(f, request(made.folder(t.path / "p")), noon());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_EQ(added->vetting.judgement.verdict(), Verdict::fit);
}

TEST_F(ShelfTest, OneFolderTooDeepAndAnUnopenedArchiveAreSaid) {
    const Made made;
    made.folder(t.path / "p" / "inner");
    expect_refused(request(t.path / "p"), {"index-one-folder-deep"});
    write(t.path / "q" / "release.zip", zip_of(made).finish());
    expect_refused(request(t.path / "q"), {"nested-archive"});
    write(t.path / "r" / "readme.txt", "x");
    expect_refused(request(t.path / "r"), {"index-missing"});
}

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

TEST_F(ShelfTest, WhatWasRefusedIsNotedOnAShelfThatWasThere) {
    Made made;
    ASSERT_TRUE(shelf().add(dunnock(), request(made.folder(t.path / "p")), noon()));
    opened.emplace(Shelf::open(home).value());
    made.release = "27.1.110";
    const fs::path folder = made.folder(t.path / "q");
    write(folder / "main/kernel.bin", "kernel bytez");
    EXPECT_EQ(refusal(shelf(), request(folder)), Codes{"digest-differs"});
    const auto noted = shelf().refusals().value();
    ASSERT_EQ(noted.size(), 1u);
    EXPECT_EQ(noted[0].codes, std::vector<std::string>{"digest-differs"});
    EXPECT_EQ(noted[0].source_path, folder.string());
    EXPECT_EQ(noted[0].at, noon().now());
}

// --- provenance
// -------------------------------------------------------------------------------------------------------

TEST_F(ShelfTest, NothingIsShelvedWithoutAProvenanceSlip) {
    AddRequest r = request(Made().folder(t.path / "p"));
    r.slip.from = "  ";
    expect_refused(r, {"slip-from-missing"});
    r = request(t.path / "p");
    r.slip.also_seen_sha256 = "1234";
    expect_refused(r, {"also-seen-form"});
}

TEST_F(ShelfTest, AnUnknownRightLooksButDoesNotLayUntilOneIsKnown) {
    const fs::path folder = Made().folder(t.path / "p");
    const auto added = shelf().add(dunnock(), request(folder, Right::unknown), noon());
    ASSERT_TRUE(added);
    EXPECT_EQ(added->vetting.judgement.verdict(), Verdict::mind);
    EXPECT_EQ(shelf().find("", "27.3.118")->may_be_laid().verdict(), Verdict::halt);
    AddRequest again = request(folder, Right::licence);
    again.slip.from = "licence of the shop";
    const auto second = shelf().add(dunnock(), again, noon());
    ASSERT_TRUE(second);
    EXPECT_TRUE(second->was_there);
    EXPECT_EQ(second->shelved.may_be_laid().verdict(), Verdict::fit);
    EXPECT_EQ(shelf().list()->size(), 1u);
    EXPECT_EQ(shelf().as_of("dunnock")->sources, 2);
    // A later slip of unknown right does not take the known one away.
    ASSERT_TRUE(shelf().add(dunnock(), request(folder, Right::unknown), noon()));
    EXPECT_EQ(shelf().find("", "27.3.118")->slip.right, Right::licence);
}

TEST_F(ShelfTest, ASecondSourceWithOtherBytesIsAHaltUnlessTheSignatureHolds) {
    Made made;
    AddRequest r = request(made.folder(t.path / "signed"));
    r.slip.also_seen_sha256 = std::string(64, 'a');
    const auto added = shelf().add(dunnock(), r, noon());
    ASSERT_TRUE(added);
    EXPECT_TRUE(has_code(added->shelved.vetted, "second-source-differs"));
    made.sign = false;
    made.release = "27.1.110";
    r.package = made.folder(t.path / "unsigned");
    EXPECT_EQ(refusal(shelf(), r, dunnock_unsigned_too()), Codes{"second-source-differs"});
    r.slip.also_seen_sha256.clear();
    const auto digest = shelf().add(dunnock_unsigned_too(), r, noon())->shelved.slip.package_sha256;
    r.slip.also_seen_sha256 = digest;
    EXPECT_TRUE(has_code(shelf().add(dunnock_unsigned_too(), r, noon())->vetting.judgement, "second-source-agrees"));
}

TEST_F(ShelfTest, TheSameVersionWithOtherBytesIsRefused) {
    Made made;
    ASSERT_TRUE(shelf().add(dunnock(), request(made.folder(t.path / "a")), noon()));
    made.pieces["main/kernel.bin"] = "other bytes";
    const auto before = snapshot(home);
    EXPECT_EQ(refusal(shelf(), request(made.folder(t.path / "b"))), Codes{"same-release-other-bytes"});
    EXPECT_EQ(snapshot(home), before);
}

TEST_F(ShelfTest, AnIndexAloneServesInferenceAndGivesWayToThePackage) {
    const Made made;
    const fs::path folder = made.folder(t.path / "p");
    write(t.path / "i" / "old-index.json", made.index());
    write(t.path / "i" / "release.sig", made.signature());
    AddRequest r = request(t.path / "i" / "old-index.json");
    r.index_only = true;
    const auto added = shelf().add(dunnock(), r, noon());
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_EQ(added->vetting.signature, SignatureState::good);
    EXPECT_TRUE(added->shelved.index_only);
    EXPECT_EQ(shelf().find("", "27.3.118")->release.pieces.size(), 2u);
    EXPECT_EQ(shelf().find("", "27.3.118")->may_be_laid().verdict(), Verdict::halt);
    EXPECT_EQ(content_of(shelf(), "27.3.118", "main/kernel.bin"), "release-index-only");

    ASSERT_TRUE(shelf().add(dunnock(), request(folder), noon()));
    EXPECT_FALSE(shelf().find("", "27.3.118")->index_only);
    EXPECT_EQ(content_of(shelf(), "27.3.118", "main/kernel.bin"), "kernel bytes");
    // And the other way round nothing is lost.
    EXPECT_TRUE(shelf().add(dunnock(), r, noon())->was_there);
    EXPECT_FALSE(shelf().find("", "27.3.118")->index_only);
}

TEST_F(ShelfTest, FindSaysWhatIsThere) {
    EXPECT_EQ(shelf().find("", "27.3.118").error().code, "release-not-shelved");
    ASSERT_TRUE(shelf().add(dunnock(), request(Made().folder(t.path / "p")), noon()));
    const auto no = shelf().find("", "26.1.090");
    ASSERT_FALSE(no);
    EXPECT_NE(no.error().problem.find("dunnock 27.3.118"), std::string::npos);
    EXPECT_TRUE(shelf().list("brill")->empty());
    EXPECT_EQ(shelf().as_of("brill")->sources, 0);
    EXPECT_EQ(content_of(shelf(), "27.3.118", "nowhere.bin"), "file-not-shelved");
}

TEST_F(ShelfTest, AShelfMadeForNothingGoesAgain) {
    opened.reset();
    const fs::path deep = t.path / "data" / "fettle" / "shelf";
    const fs::path folder = Made().folder(t.path / "p");
    write(folder / "stray", "x");
    {
        Shelf s = Shelf::open(deep).value();
        EXPECT_FALSE(s.add(dunnock(), request(folder), noon()));
    }
    EXPECT_FALSE(fs::exists(t.path / "data"));
    {
        Shelf one = Shelf::open(deep).value();
        Shelf other = Shelf::open(deep).value();  // it is in use: it stays
        {
            const Shelf gone = std::move(one);
        }
        fs::remove(folder / "stray");
        ASSERT_TRUE(other.add(dunnock(), request(folder), noon()));
    }
    EXPECT_EQ(Shelf::open(deep)->list()->size(), 1u);
}

// --- damage and crashes
// -------------------------------------------------------------------------------------------------

TEST_F(ShelfTest, ADamagedObjectIsNamedAndMendedByAddingAgain) {
    const Made made;
    const fs::path folder = made.folder(t.path / "p");
    ASSERT_TRUE(shelf().add(dunnock(), request(folder), noon()));
    const fs::path pack = home / "packs" / "000001.pack";
    std::string bytes = as_text(as_bytes(read_text_file(pack).value()));
    const auto at = bytes.find("kernel bytes");
    ASSERT_NE(at, std::string::npos) << "a few bytes are kept as they are";
    bytes[at] ^= 1;
    write(pack, bytes);
    EXPECT_EQ(content_of(shelf(), "27.3.118", "main/kernel.bin"), "object-damaged");
    const auto found = shelf().verify("", "", noon()).value();
    ASSERT_EQ(found.damage.size(), 1u);
    EXPECT_EQ(found.damage[0].path, "main/kernel.bin");
    EXPECT_EQ(found.damage[0].code, "object-damaged");
    EXPECT_FALSE(shelf().outlines()->at(0).verified_good);
    EXPECT_TRUE(shelf().add(dunnock(), request(folder), noon())->was_there);
    EXPECT_EQ(content_of(shelf(), "27.3.118", "main/kernel.bin"), "kernel bytes");
    EXPECT_TRUE(shelf().verify("", "", noon())->damage.empty());
    EXPECT_TRUE(shelf().outlines()->at(0).verified_good);
    for (const auto& e : fs::directory_iterator(home / "packs")) fs::remove(e.path());
    opened.emplace(Shelf::open(home).value());
    EXPECT_EQ(content_of(shelf(), "27.3.118", "main/kernel.bin"), "object-missing");
    EXPECT_EQ(shelf().verify("", "", noon())->damage.size(), 4u);
    EXPECT_TRUE(shelf().add(dunnock(), request(folder), noon())->was_there);
    EXPECT_EQ(content_of(shelf(), "27.3.118", "main/kernel.bin"), "kernel bytes");
}

TEST_F(ShelfTest, TwoProcessesAddAtOnce) {
    Made a, b;
    b.release = "27.1.110";
    b.pieces["main/more.bin"] = std::string(500'000, 'm');
    a.folder(t.path / "a");
    b.folder(t.path / "b");
    opened.reset();
    std::vector<pid_t> children;
    for (const char* name : {"a", "b", "a", "b"}) {
        const pid_t pid = ::fork();
        if (pid == 0) {
            auto own = Shelf::open(home);
            ::_exit(own && own->add(dunnock(), request(t.path / name), noon()) ? 0 : 1);
        }
        children.push_back(pid);
    }
    for (const pid_t pid : children) {
        int status = 0;
        ASSERT_EQ(::waitpid(pid, &status, 0), pid);
        EXPECT_EQ(status, 0);
    }
    opened.emplace(Shelf::open(home).value());
    EXPECT_EQ(shelf().list()->size(), 2u);
    for (const auto& [path, content] : a.pieces) EXPECT_EQ(content_of(shelf(), "27.3.118", path), content);
    for (const auto& [path, content] : b.pieces) EXPECT_EQ(content_of(shelf(), "27.1.110", path), content);
    EXPECT_TRUE(fs::is_empty(home / "staging"));
}

std::set<std::string> packs_in(const fs::path& home) {
    std::set<std::string> out;
    for (const auto& e : fs::recursive_directory_iterator(home / "packs"))
        if (e.is_regular_file()) out.insert(e.path().filename().string());
    return out;
}

// kill -9 at random instants: afterwards the release is there whole or not at all, no pack is there that the
// catalogue does not know, and nothing is left in staging.
TEST_F(ShelfTest, KillAtAnyInstantLeavesAGoodShelf) {
    Made old;
    old.release = "26.4.102";
    ASSERT_TRUE(shelf().add(dunnock(), request(old.folder(t.path / "old")), noon()));
    const auto packs_before = packs_in(home);
    Made made;
    for (int i = 0; i < 12; ++i)
        made.pieces["main/" + std::to_string(i)] =
            std::string(30'000, static_cast<char>('a' + i % 26)) + std::to_string(i);
    made.folder(t.path / "p");
    opened.reset();
    // How long a whole addition takes here and now: kills are spread over a little more than that.
    const auto began = std::chrono::steady_clock::now();
    ASSERT_TRUE(Shelf::open(home)->add(dunnock(), request(t.path / "p"), noon()));
    const auto one = std::chrono::steady_clock::now() - began;
    const auto anew = [&] {
        fs::remove_all(home);
        ASSERT_TRUE(Shelf::open(home)->add(dunnock(), request(t.path / "old"), noon()));
    };
    anew();
    unsigned random = 5;
    int whole = 0, absent = 0;
    for (int child = 0; child < 40; ++child) {
        const pid_t pid = ::fork();
        if (pid == 0) {
            auto own = Shelf::open(home);
            if (own) (void)own->add(dunnock(), request(t.path / "p"), noon());
            ::_exit(0);
        }
        random = random * 1664525 + 1013904223;
        std::this_thread::sleep_for(one * ((random >> 16) % 2000) / 1000);
        if (child % 10 != 9) ::kill(pid, SIGKILL);  // every tenth comes to its end
        ASSERT_EQ(::waitpid(pid, nullptr, 0), pid);
        Shelf after = Shelf::open(home).value();
        EXPECT_TRUE(fs::is_empty(home / "staging")) << child;
        for (const auto& [path, content] : old.pieces) ASSERT_EQ(content_of(after, "26.4.102", path), content);
        if (after.list()->size() == 2) {
            ++whole;
            for (const auto& [path, content] : made.pieces) ASSERT_EQ(content_of(after, "27.3.118", path), content);
            anew();
        } else {
            ++absent;
            EXPECT_EQ(packs_in(home), packs_before) << child;
        }
    }
    EXPECT_GT(absent, 3);
    EXPECT_GT(whole, 3);
}

}  // namespace
}  // namespace fettle::shelf
