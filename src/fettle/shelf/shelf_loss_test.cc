// Power that goes, disks that are full, processes that are killed: at every single call that the store makes to the
// disk.
#include <sys/wait.h>
#include <unistd.h>

#include "fettle/base/files.h"
#include "fettle/shelf/losing_disk_test_help.h"
#include "fettle/shelf/shelf_test_help.h"

namespace fettle::shelf {
namespace {

using Files = std::map<std::string, std::string>;

// Like one maker's next release: most bytes stay, some change.
Made version(const std::string& release, int salt) {
    Made m;
    m.release = release;
    m.pieces.clear();
    for (int i = 0; i < 3; ++i) {
        std::string content;
        unsigned x = 77u + static_cast<unsigned>(i);
        for (int k = 0; k < 3000; ++k) {
            x = x * 1664525 + 1013904223;
            content += static_cast<char>(x >> 24);
        }
        content.replace(100 * static_cast<std::size_t>(salt), 4, std::to_string(1000 + salt));
        m.pieces["main/" + std::to_string(i)] = content;
    }
    m.pieces["main/same"] = "the same in each";
    return m;
}

std::string content_of(const Shelf& shelf, std::string_view release, std::string_view path) {
    std::string out;
    const auto ok = shelf.read("dunnock", release, path, [&](ByteView b) {
        out += as_text(b);
        return Status();
    });
    return ok ? out : ok.error().code;
}

void expect_whole(const Shelf& shelf, const Made& m) {
    for (const auto& [path, content] : m.pieces) ASSERT_EQ(content_of(shelf, m.release, path), content) << path;
}

bool has(const Shelf& shelf, const std::string& release) {
    const auto all = shelf.outlines();
    for (const Outline& o : all.value())
        if (o.release.release == release) return true;
    return false;
}

struct Loss : testing::Test {
    Loss() {
        first.folder(t.path / "p1");
        second.folder(t.path / "p2");
        third.folder(t.path / "p3");
        Shelf s = Shelf::open(start).value();
        EXPECT_TRUE(s.add(dunnock(), request(t.path / "p1"), noon()));
    }
    // A fresh copy of the shelf to break.
    fs::path copy() {
        fs::remove_all(t.path / "now");
        fs::copy(start, t.path / "now", fs::copy_options::recursive);
        return t.path / "now";
    }
    TempFolder t;
    fs::path start = t.path / "start";
    Made first = version("27.1.1", 1), second = version("27.2.1", 2), third = version("27.3.1", 3);
};

TEST_F(Loss, OfPowerDuringAnIntakeLeavesAGoodShelf) {
    int whole = 0, absent = 0;
    for (int nth = 1;; ++nth) {
        bool reached = false;
        for (unsigned seed = 0; seed < 12; seed += 5) {
            const fs::path home = copy();
            LosingDisk disk(nth, Fails::power, seed);
            bool acknowledged = false;
            {
                auto s = Shelf::open(home, &disk);
                ASSERT_TRUE(s) << s.error().message();
                acknowledged = s->add(dunnock(), request(t.path / "p2"), noon()).has_value();
            }
            reached = reached || disk.calls() >= nth;
            disk.lose();
            Shelf after = Shelf::open(home).value();
            expect_whole(after, first);
            ASSERT_TRUE(after.verify("", "", noon())->damage.empty()) << nth << " " << seed;
            if (has(after, second.release)) {
                ++whole;
                expect_whole(after, second);
            } else {
                ++absent;
                ASSERT_FALSE(acknowledged) << nth;
            }
            EXPECT_TRUE(fs::is_empty(home / "staging"));
        }
        if (!reached) break;
        ASSERT_LT(nth, 100);
    }
    EXPECT_GT(whole, 3);
    EXPECT_GT(absent, 20);
}

TEST_F(Loss, OfPowerDuringTidyingLeavesAGoodShelf) {
    {
        Shelf s = Shelf::open(start).value();
        ASSERT_TRUE(s.add(dunnock(), request(t.path / "p2"), noon()));
        ASSERT_TRUE(s.add(dunnock(), request(t.path / "p3"), noon()));
        ASSERT_TRUE(s.remove("dunnock", first.release));
    }
    for (int nth = 1;; ++nth) {
        bool reached = false;
        for (unsigned seed = 0; seed < 12; seed += 5) {
            const fs::path home = copy();
            LosingDisk disk(nth, Fails::power, seed);
            (void)Shelf::open(home, &disk)->tidy();
            reached = reached || disk.calls() >= nth;
            disk.lose();
            Shelf after = Shelf::open(home).value();
            expect_whole(after, second);
            expect_whole(after, third);
            ASSERT_TRUE(after.verify("", "", noon())->damage.empty()) << nth << " " << seed;
            ASSERT_TRUE(after.tidy());
            expect_whole(after, third);
        }
        if (!reached) break;
        ASSERT_LT(nth, 100);
    }
}

TEST_F(Loss, OfRoomLeavesTheShelfAsItWas) {
    const auto before = snapshot(start / "packs");
    int failed = 0;
    for (int nth = 1;; ++nth) {
        const fs::path home = copy();
        LosingDisk disk(nth, Fails::full);
        {
            auto s = Shelf::open(home, &disk);
            const auto added = s->add(dunnock(), request(t.path / "p2"), noon());
            if (!added) {
                ++failed;
                EXPECT_EQ(added.error().kind, ErrorKind::outside);
                EXPECT_EQ(added.error().code, "shelf-full");
                EXPECT_EQ(snapshot(home / "packs"), before) << nth;
                EXPECT_TRUE(fs::is_empty(home / "staging")) << nth;
            }
            expect_whole(*s, first);
            EXPECT_EQ(has(*s, second.release), added.has_value());
            EXPECT_TRUE(s->verify("", "", noon())->damage.empty());
        }
        if (disk.calls() < nth) break;
        ASSERT_LT(nth, 100);
    }
    EXPECT_GT(failed, 8);
}

TEST_F(Loss, OfTheProcessAtEveryCallLeavesAGoodShelf) {
    int killed = 0;
    for (int nth = 1; nth < 60; ++nth) {
        const fs::path home = copy();
        const pid_t pid = ::fork();
        if (pid == 0) {
            LosingDisk disk(nth, Fails::killed);
            auto s = Shelf::open(home, &disk);
            (void)s->add(dunnock(), request(t.path / "p2"), noon());
            ::_exit(0);
        }
        int status = 0;
        ASSERT_EQ(::waitpid(pid, &status, 0), pid);
        if (WIFSIGNALED(status)) ++killed;
        Shelf after = Shelf::open(home).value();
        expect_whole(after, first);
        if (has(after, second.release)) expect_whole(after, second);
        ASSERT_TRUE(after.verify("", "", noon())->damage.empty());
        EXPECT_TRUE(fs::is_empty(home / "staging")) << nth;
        ASSERT_TRUE(after.add(dunnock(), request(t.path / "p2"), noon()));
        expect_whole(after, second);
        if (!WIFSIGNALED(status)) break;
    }
    EXPECT_GT(killed, 8);
}

// Bytes that no compression makes smaller.
std::string noise(std::size_t size) {
    std::string out;
    for (unsigned x = 7; out.size() < size;) out += static_cast<char>((x = x * 1664525 + 1013904223) >> 24);
    return out;
}

// A disk that is full: a file system of 1 MB (needs root and a kernel that allows it).
TEST(FullDisk, IsSaidAndLeavesTheShelfAsItWas) {
    const TempFolder t;
    const fs::path small = t.path / "small";
    fs::create_directories(small);
    if (shell("mount -t tmpfs -o size=1m tmpfs '" + small.string() + "'") != 0)
        GTEST_SKIP() << "skipped: no small file system can be mounted here";
    {
        Shelf s = Shelf::open(small / "shelf").value();
        const auto before = snapshot(small);
        Made made;
        made.pieces["main/big.bin"] = noise(2u << 20);
        const auto no = s.add(dunnock(), request(made.folder(t.path / "p")), noon());
        EXPECT_FALSE(no);
        if (!no) {
            EXPECT_EQ(no.error().kind, ErrorKind::outside);
            EXPECT_EQ(no.error().code, "shelf-full");
        }
        EXPECT_EQ(snapshot(small), before);
        // Within what the check allows, but not within what is left: the write itself fails.
        made.pieces["main/big.bin"] = noise(400'000);
        for (int i = 0; i < 3; ++i)
            made.pieces["main/" + std::to_string(i)] = noise(100'000 + static_cast<std::size_t>(i));
        fs::remove_all(t.path / "p");
        const auto still = s.add(dunnock(), request(made.folder(t.path / "p")), noon());
        if (!still) {
            EXPECT_EQ(still.error().kind, ErrorKind::outside) << still.error().message();
            EXPECT_TRUE(s.list()->empty());
            EXPECT_TRUE(fs::is_empty(small / "shelf" / "packs"));
        }
    }
    EXPECT_EQ(shell("umount '" + small.string() + "'"), 0);
}

}  // namespace
}  // namespace fettle::shelf
