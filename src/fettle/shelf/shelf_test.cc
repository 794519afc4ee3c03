#include "fettle/shelf/shelf_case_test_help.h"

namespace fettle::shelf {
namespace {

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

}  // namespace
}  // namespace fettle::shelf
