// Chains of differences: how long they get, what removing, tidying, damage and mending do to them; giving back;
// comparing.
#include <sys/wait.h>

#include "fettle/base/files.h"
#include "fettle/shelf/catalogue.h"
#include "fettle/shelf/locks.h"
#include "fettle/shelf/packs.h"
#include "fettle/shelf/shelf_test_help.h"

namespace fettle::shelf {
namespace {

std::string noise(unsigned x, std::size_t size) {
    std::string out;
    while (out.size() < size) out += static_cast<char>((x = x * 1664525 + 1013904223) >> 24);
    return out;
}

// The nth release: nearly the bytes of the one before.
Made nth(int n) {
    Made m;
    m.release = "27." + std::to_string(n) + ".1";
    m.pieces = {{"main/system.bin", noise(3, 40'000)}, {"main/fonts.bin", noise(4, 9'000)}};
    for (int i = 1; i <= n; ++i) m.pieces["main/system.bin"].replace(static_cast<std::size_t>(i) * 3000, 5, "other");
    return m;
}

struct Care : testing::Test {
    Shelf open() { return Shelf::open(home).value(); }
    void add(int n) {
        const Made m = nth(n);
        const fs::path folder = t.path / m.release;
        if (!fs::exists(folder)) m.folder(folder);
        const auto added = open().add(dunnock(), request(folder), noon());
        ASSERT_TRUE(added) << added.error().message();
    }
    std::string content(const std::string& release, const std::string& path) {
        std::string out;
        const auto ok = open().read("dunnock", release, path, [&](ByteView b) {
            out += as_text(b);
            return Status();
        });
        return ok ? out : ok.error().code;
    }
    std::uint64_t bytes() const {
        std::uint64_t sum = 0;
        for (const auto& e : fs::directory_iterator(home / "packs")) sum += e.file_size();
        return sum;
    }
    // The longest chain, by the catalogue.
    int longest() {
        Catalogue c = Catalogue::open(home / "catalogue.sqlite").value();
        const auto held = c.held().value();
        int most = 0;
        for (const auto& [id, part] : held.parts) most = std::max(most, depth(held.parts, part));
        return most;
    }
    TempFolder t;
    fs::path home = t.path / "shelf";
};

TEST_F(Care, ChainsAreTwoLongAtMostAndADifferenceIsSmall) {
    for (int n = 1; n <= 8; ++n) {
        add(n);
        EXPECT_EQ(longest(), std::min(n - 1, 2));
        for (int k = 1; k <= n; ++k)
            EXPECT_EQ(content(nth(k).release, "main/system.bin"), nth(k).pieces["main/system.bin"]);
    }
    EXPECT_LT(bytes(), 49'000u + 8 * 2'500u);
}

TEST_F(Care, RemovingBreaksNothingAndTidyingGivesTheSpaceBack) {
    for (int n = 1; n <= 6; ++n) add(n);
    const std::uint64_t all = bytes();
    for (const int gone : {1, 3, 4}) ASSERT_TRUE(open().remove("dunnock", nth(gone).release));
    for (const int n : {2, 5, 6})
        EXPECT_EQ(content(nth(n).release, "main/system.bin"), nth(n).pieces["main/system.bin"]);
    const Tidied tidied = open().tidy().value();
    EXPECT_EQ(tidied.bytes_before, all);
    EXPECT_EQ(tidied.bytes_after, bytes());
    EXPECT_LT(tidied.bytes_after, all);
    EXPECT_LE(longest(), 2);
    for (const int n : {2, 5, 6})
        EXPECT_EQ(content(nth(n).release, "main/system.bin"), nth(n).pieces["main/system.bin"]);
    EXPECT_TRUE(open().verify("", "", noon())->damage.empty());
    EXPECT_EQ(open().tidy()->parts_moved, 0u) << "a second time there is nothing to do";
    for (const int n : {2, 5, 6}) ASSERT_TRUE(open().remove("dunnock", nth(n).release));
    EXPECT_EQ(open().tidy()->bytes_after, 0u);
}

// One byte of the first release's piece, on which the others rest.
TEST_F(Care, DamageIsNamedExactlyAndMendedByAnyPackageThatHasTheBytes) {
    for (int n = 1; n <= 3; ++n) add(n);
    const fs::path pack = home / "packs" / "000001.pack";
    std::string bytes = read_text_file(pack).value();
    const auto at = bytes.find(nth(1).pieces["main/system.bin"].substr(20'000, 50));
    ASSERT_NE(at, std::string::npos) << "noise is kept as it is";
    bytes[at] ^= 4;
    write(pack, bytes);
    const Verified v = open().verify("", "", noon()).value();
    ASSERT_EQ(v.damage.size(), 3u);
    for (const Verified::Damage& d : v.damage) {
        EXPECT_EQ(d.path, "main/system.bin");
        EXPECT_EQ(d.code, d.release == "27.1.1" ? "object-damaged" : "object-rests-on-damaged");
        EXPECT_EQ(d.rests_on, d.release == "27.1.1" ? "" : "dunnock 27.1.1 main/system.bin");
    }
    EXPECT_EQ(open().verify("", "27.2.1", noon())->damage.size(), 1u);
    EXPECT_EQ(content("27.2.1", "main/fonts.bin"), nth(2).pieces["main/fonts.bin"]);
    EXPECT_EQ(open().tidy().has_value(), true) << "nothing has to be moved";
    // On what is damaged nothing is built.
    add(4);
    EXPECT_EQ(content("27.4.1", "main/system.bin"), nth(4).pieces["main/system.bin"]);
    add(1);
    EXPECT_TRUE(open().verify("", "", noon())->damage.empty());
    for (int n = 1; n <= 4; ++n)
        EXPECT_EQ(content(nth(n).release, "main/system.bin"), nth(n).pieces["main/system.bin"]);
}

TEST_F(Care, TidyingWaitsForNobodyAndSaysSo) {
    add(1);
    const auto intake = FileLock::share(work_lock(home));
    ASSERT_TRUE(intake);
    EXPECT_EQ(open().tidy().error().code, "shelf-in-use");
}

// A reader that has the shelf open while another process tidies.
TEST_F(Care, AReaderFindsWhatWasMoved) {
    for (int n = 1; n <= 3; ++n) add(n);
    const Shelf reader = open();
    const auto read = [&] {
        std::string out;
        const auto ok = reader.read("dunnock", "27.3.1", "main/system.bin", [&](ByteView b) {
            out += as_text(b);
            return Status();
        });
        return ok ? out : ok.error().code;
    };
    EXPECT_EQ(read(), nth(3).pieces["main/system.bin"]);
    ASSERT_TRUE(open().remove("dunnock", "27.1.1"));
    ASSERT_TRUE(open().tidy());
    EXPECT_EQ(read(), nth(3).pieces["main/system.bin"]);
}

TEST_F(Care, APackageIsGivenBackAsDiffAndSha256sumSeeIt) {
    for (int n = 1; n <= 3; ++n) add(n);
    const Restored r = open().restore("", "27.3.1", t.path / "back").value();
    EXPECT_EQ(r.files, 4u);
    EXPECT_EQ(shell("diff -r '" + (t.path / "back").string() + "' '" + (t.path / "27.3.1").string() + "'"), 0);
    EXPECT_EQ(shell("cd '" + (t.path / "27.3.1").string() + "' && find . -type f -print0 | xargs -0 sha256sum >'" +
                    (t.path / "sums").string() + "' && cd '" + (t.path / "back").string() + "' && sha256sum -c '" +
                    (t.path / "sums").string() + "'"),
              0);
    EXPECT_EQ(open().restore("", "27.3.1", t.path / "back").error().code, "restore-target");
    write(t.path / "file", "x");
    EXPECT_EQ(open().restore("", "27.3.1", t.path / "file").error().code, "restore-target");
    fs::create_directory(t.path / "empty");
    fs::create_directory(t.path / "empty.restoring-99999999");  // of a process that is gone
    EXPECT_TRUE(open().restore("", "27.3.1", t.path / "empty/"));
    EXPECT_FALSE(fs::exists(t.path / "empty.restoring-99999999"));
    // A damaged piece: nothing is left.
    for (const auto& e : fs::directory_iterator(home / "packs")) fs::resize_file(e.path(), e.file_size() / 2);
    EXPECT_EQ(open().restore("", "27.1.1", t.path / "broken").error().code, "object-damaged");
    for (const auto& e : fs::directory_iterator(t.path))
        EXPECT_FALSE(e.path().filename().string().starts_with("broken"));
}

TEST_F(Care, WhatDiffersIsCounted) {
    Made a = nth(1), b = nth(2);
    a.pieces["main/old.bin"] = "was there";
    b.pieces["main/new.bin"] = "is there now";
    a.folder(t.path / "a");
    b.folder(t.path / "b");
    ASSERT_TRUE(open().add(dunnock(), request(t.path / "a"), noon()));
    ASSERT_TRUE(open().add(dunnock(), request(t.path / "b"), noon()));
    std::map<std::string, std::string> said;
    const Compared compared = open().compare("", a.release, b.release).value();
    for (const auto& f : compared.files) said[f.after.empty() ? f.before : f.after] = words(f.difference);
    EXPECT_EQ(said, (std::map<std::string, std::string>{{"main/fonts.bin", "equal"},
                                                        {"main/new.bin", "added"},
                                                        {"main/old.bin", "gone"},
                                                        {"main/system.bin", "changed"},
                                                        {"release.json", "changed"},
                                                        {"release.sig", "changed"}}));
}

TEST_F(Care, AShelfOfTheOldLayoutIsLeftAsItIs) {
    write(home / "objects" / "3f" / "3fa9", "x");
    write(home / "catalogue.sqlite", "");
    const auto before = snapshot(home);
    EXPECT_EQ(Shelf::open(home).error().code, "shelf-old-layout");
    EXPECT_EQ(snapshot(home), before);
}

// Longer than one part: 32 MiB and a bit, twice, with a change in the second part.
TEST_F(Care, ALongPieceIsKeptInPartsAndMended) {
    Made m = nth(1);
    std::string& system = m.pieces["main/system.bin"];
    system = std::string(part_limit, 'a') + noise(5, 20'000);
    m.folder(t.path / "27.1.1");
    add(1);
    const std::string first = system;
    m.release = "27.2.1";
    system[part_limit + 10'000] ^= 1;
    m.folder(t.path / "27.2.1");
    add(2);
    const auto expect_given_back = [&](const std::string& release, std::string_view rest) {
        ASSERT_TRUE(open().read("dunnock", release, "main/system.bin", [&](ByteView b) {
            EXPECT_TRUE(rest.starts_with(as_text(b)));
            rest.remove_prefix(std::min(rest.size(), b.size()));
            return Status();
        }));
        EXPECT_TRUE(rest.empty());
    };
    expect_given_back("27.1.1", first);
    expect_given_back("27.2.1", system);
    EXPECT_LT(bytes(), 60'000u);
    std::string pack = read_text_file(home / "packs" / "000001.pack").value();
    const auto at = pack.find(first.substr(part_limit + 100, 50));
    ASSERT_NE(at, std::string::npos);
    pack[at] ^= 1;
    write(home / "packs" / "000001.pack", pack);
    EXPECT_EQ(open().verify("", "", noon())->damage.size(), 2u);
    add(1);
    EXPECT_TRUE(open().verify("", "", noon())->damage.empty());
}

// A difference finds what stands anywhere in a predecessor of many MB, not only in its last one.
TEST(LargeDifference, FindsEveryPartOfItsPredecessor) {
    const std::string before = noise(6, 14'000'000);
    std::string after = before;
    for (std::size_t at = 0; at < after.size(); at += 1'000'000) after.insert(at, "put in");
    Press press;
    Buffer out;
    EXPECT_EQ(press.squeeze(as_bytes(after), as_bytes(before), out), Form::delta);
    EXPECT_LT(out.view().size(), 100'000u);
}

// Of somebody who may not write there: the shelf is listed, read and verified, and nothing in it changes.
TEST_F(Care, AShelfThatMayOnlyBeReadIsRead) {
    add(1);
    add(2);
    const auto rights = [&](fs::perms folders, fs::perms files) {
        for (const auto& e : fs::recursive_directory_iterator(home))
            if (!e.is_directory()) fs::permissions(e.path(), files);
        for (const auto& e : fs::recursive_directory_iterator(home))
            if (e.is_directory()) fs::permissions(e.path(), folders);
        fs::permissions(home, folders);
    };
    fs::permissions(t.path, static_cast<fs::perms>(0755));
    rights(static_cast<fs::perms>(0555), static_cast<fs::perms>(0444));
    const pid_t pid = ::fork();
    if (pid == 0) {
        if (::geteuid() == 0 && ::setuid(65534) != 0) ::_exit(9);
        auto shelf = Shelf::open(home);
        if (!shelf) ::_exit(1);
        if (const auto all = shelf->outlines("dunnock"); !all || all->size() != 2) ::_exit(2);
        const auto file = shelf->files("dunnock", nth(2).release);
        if (!file || file->empty()) ::_exit(3);
        const auto nothing = [](ByteView) { return Status(); };
        if (!shelf->read("dunnock", nth(2).release, file->front().path, nothing)) ::_exit(4);
        if (shelf->remove("dunnock", nth(1).release)) ::_exit(5);
        ::_exit(0);
    }
    int status = 0;
    ASSERT_EQ(::waitpid(pid, &status, 0), pid);
    EXPECT_EQ(WEXITSTATUS(status), 0);
    rights(static_cast<fs::perms>(0755), static_cast<fs::perms>(0644));
    EXPECT_EQ(open().outlines("dunnock")->size(), 2u);
}

// Two intakes of the same bytes side by side: whichever comes second keeps nothing of its own.
TEST_F(Care, WhatTwoIntakesBringAtOnceIsKeptOnce) {
    add(1);
    const std::uint64_t once = bytes();
    ASSERT_TRUE(open().remove("dunnock", nth(1).release));
    ASSERT_TRUE(open().tidy());
    Shelf other = open();
    bool brought = false;
    Shelf mine = open();
    const auto added = mine.add(dunnock(), request(t.path / nth(1).release), noon(),
                                [&](const char* what, std::uint64_t, std::uint64_t) {
                                    if (std::string_view(what) != "shelving" || brought) return;
                                    brought = true;
                                    EXPECT_TRUE(other.add(dunnock(), request(t.path / nth(1).release), noon()));
                                });
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_TRUE(brought);
    EXPECT_TRUE(added->was_there);
    EXPECT_EQ(bytes(), once);
    EXPECT_TRUE(open().verify("", "", noon())->damage.empty());
    EXPECT_EQ(content(nth(1).release, "main/system.bin"), nth(1).pieces["main/system.bin"]);
}

// Other bytes under the archive's name between the check and the use: what was read stays what was checked, and the
// digest on the slip would be of something else.
TEST_F(Care, AnArchiveSwappedWhileItIsReadIsRefused) {
    const fs::path zip = t.path / "p.zip", other = t.path / "other.zip";
    write(zip, zip_of(nth(1)).finish());
    write(other, zip_of(nth(1)).finish() + "x");
    Vetting v;
    bool swapped = false;
    const auto no = open().add(
        dunnock(), request(zip), noon(),
        [&](const char*, std::uint64_t, std::uint64_t) {
            if (!swapped) fs::rename(other, zip);
            swapped = true;
        },
        &v);
    EXPECT_TRUE(swapped);
    EXPECT_FALSE(no);
    EXPECT_TRUE(has_code(v.judgement, "package-changed"));
    EXPECT_TRUE(open().add(dunnock(), request(zip), noon())) << "at rest it is whole";
}

// Likewise a file of a folder: it is read once, and what was read is what the digest is of.
TEST_F(Care, AFileSwappedAfterItWasCheckedDoesNotGetIn) {
    const fs::path folder = nth(1).folder(t.path / "p");
    bool swapped = false;
    const auto added =
        open().add(dunnock(), request(folder), noon(), [&](const char* what, std::uint64_t, std::uint64_t) {
            if (std::string_view(what) != "shelving") return;
            swapped = true;
            write(folder / "main/system.bin", "something else");
        });
    ASSERT_TRUE(added) << added.error().message();
    EXPECT_TRUE(swapped);
    EXPECT_EQ(content(nth(1).release, "main/system.bin"), nth(1).pieces["main/system.bin"]);
}

}  // namespace
}  // namespace fettle::shelf
