#include "fettle/records/database.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <fstream>
#include <set>
#include <thread>

namespace fettle::records {
namespace {
namespace fs = std::filesystem;

struct TempFolder {
    TempFolder() {
        // In memory where that is possible: killing a process asks nothing of a disk, and syncs cost nothing there.
        const fs::path root = ::access("/dev/shm", W_OK) == 0 ? fs::path("/dev/shm") : fs::temp_directory_path();
        std::string pattern = (root / "fettle-records-XXXXXX").string();
        path = mkdtemp(pattern.data());
    }
    ~TempFolder() { fs::remove_all(path); }
    fs::path path;
};

const Schema numbers{"numbers", {{"create table n (v integer primary key, word text not null)"}}};

Result<Database> open(const fs::path& file, std::chrono::milliseconds patience = std::chrono::seconds(10)) {
    return Database::open(file, numbers, patience);
}

std::int64_t count(Database& db) {
    return db.query("select count(*) from n", {Kind::number}).value().front().number(0);
}

TEST(Database, KeepsWhatItWasGivenWordForWord) {
    TempFolder t;
    EXPECT_FALSE(open(t.path / "nowhere" / "n"));  // no folder is made on the way
    auto db = open(t.path / "a b'c.sqlite");
    ASSERT_TRUE(db) << db.error().message();
    const std::string word = "Grüße, \"quoted\" ' :name \n\t 27.3.118";
    ASSERT_TRUE(db->run("insert into n (v, word) values (:v, :w)", {std::int64_t{1} << 62, word}));
    const auto rows =
        db->query("select v, word from n where v > :least", {Kind::number, Kind::text}, {std::int64_t{0}});
    ASSERT_TRUE(rows);
    ASSERT_EQ(rows->size(), 1u);
    EXPECT_EQ(rows->front().number(0), std::int64_t{1} << 62);
    EXPECT_EQ(rows->front().text(1), word);
}

TEST(Database, RefusesNulInText) {
    TempFolder t;
    auto db = open(t.path / "n").value();
    const auto no = db.run("insert into n (v, word) values (1, :w)", {std::string("a\0b", 3)});
    ASSERT_FALSE(no);
    EXPECT_EQ(no.error().code, "text-with-nul");
    EXPECT_EQ(count(db), 0);
}

TEST(Database, WriteIsAllOrNothing) {
    TempFolder t;
    auto db = open(t.path / "n").value();
    const auto no = db.write([&]() -> Status {
        EXPECT_TRUE(db.run("insert into n values (1, 'a')"));
        return db.run("insert into n values (1, 'again')");
    });
    ASSERT_FALSE(no);
    EXPECT_EQ(no.error().code, "records-clash");
    EXPECT_EQ(no.error().kind, ErrorKind::bad_input);
    EXPECT_EQ(count(db), 0);
    EXPECT_THROW((void)db.write([&]() -> Status {
        EXPECT_TRUE(db.run("insert into n values (2, 'a')"));
        throw std::runtime_error("a bug");
    }),
                 std::runtime_error);
    EXPECT_EQ(count(db), 0);
    EXPECT_TRUE(db.write([&] { return db.run("insert into n values (3, 'after')"); }));
    EXPECT_EQ(count(db), 1);
}

TEST(Database, ASecondWriterWaitsAndThenIsToldWhoIsInTheWay) {
    TempFolder t;
    auto a = open(t.path / "n").value();
    auto b = open(t.path / "n", std::chrono::milliseconds(50)).value();
    ASSERT_TRUE(a.write([&]() -> Status {
        const auto no = b.write([] { return Status(); });
        EXPECT_FALSE(no);
        EXPECT_EQ(no.error().code, "records-busy");
        EXPECT_EQ(no.error().kind, ErrorKind::outside);
        EXPECT_EQ(count(b), 0);  // readers go on
        return a.run("insert into n values (1, 'a')");
    }));
    EXPECT_EQ(count(b), 1);
}

TEST(Database, NamesAFileThatIsNoDatabase) {
    TempFolder t;
    std::ofstream(t.path / "n") << std::string(4096, 'x');
    const auto db = open(t.path / "n");
    ASSERT_FALSE(db);
    EXPECT_EQ(db.error().code, "records-damaged");
    EXPECT_EQ(db.error().place, (t.path / "n").string());
}

TEST(Database, LeavesAnotherProgramsDatabaseAlone) {
    TempFolder t;
    {
        auto other = Database::open(t.path / "n", {"other", {{"create table x (a text)"}}}).value();
        ASSERT_TRUE(other.run("insert into x values ('kept')"));
    }
    const auto db = open(t.path / "n");
    ASSERT_FALSE(db);
    EXPECT_EQ(db.error().code, "records-not-ours");
}

TEST(Database, MigratesStepByStepAndRefusesANewerFile) {
    TempFolder t;
    Schema second = numbers;
    second.migrations.push_back({"alter table n add column more text not null default 'none'"});
    {
        auto first = open(t.path / "n").value();
        ASSERT_TRUE(first.run("insert into n values (1, 'kept')"));
    }
    {
        auto later = Database::open(t.path / "n", second).value();
        EXPECT_EQ(later.query("select word || more from n", {Kind::text}).value().front().text(0), "keptnone");
    }
    const auto older = open(t.path / "n");
    ASSERT_FALSE(older);
    EXPECT_EQ(older.error().code, "records-too-new");
}

TEST(Database, AMigrationThatFailsLeavesTheOldVersion) {
    TempFolder t;
    Schema broken = numbers;
    broken.migrations.push_back({"alter table n add column more text", "create nonsense"});
    {
        ASSERT_TRUE(open(t.path / "n"));
    }
    ASSERT_FALSE(Database::open(t.path / "n", broken));
    auto db = open(t.path / "n");
    ASSERT_TRUE(db) << db.error().message();
    EXPECT_FALSE(db->query("select more from n", {Kind::text}));
}

TEST(Database, ReadsSqlitesResultCodes) {
    // Numbers from sqlite.org/rescode.html (from memory, and equal to sqlite3.h's): 5 busy, 6 locked, 8 read-only,
    // 11 corrupt, 13 full, 14 cannot open, 19 constraint, 26 no database; extended codes carry more above the low byte.
    EXPECT_EQ(trouble_of(5), Trouble::busy);
    EXPECT_EQ(trouble_of(6), Trouble::busy);
    EXPECT_EQ(trouble_of(5 | (2 << 8)), Trouble::busy);
    EXPECT_EQ(trouble_of(8), Trouble::read_only);
    EXPECT_EQ(trouble_of(11), Trouble::damaged);
    EXPECT_EQ(trouble_of(26), Trouble::damaged);
    EXPECT_EQ(trouble_of(13), Trouble::full);
    EXPECT_EQ(trouble_of(14), Trouble::cannot_open);
    EXPECT_EQ(trouble_of(19), Trouble::clash);
    EXPECT_EQ(trouble_of(1555), Trouble::clash);  // constraint, primary key
    EXPECT_EQ(trouble_of(1), Trouble::other);
}

// Of somebody who may not write there: what is there is read, nothing is made beside it, and writing is said to fail.
// Not while a write-ahead file waits to be put in.
TEST(Database, APlaceThatCannotBeWrittenIsRead) {
    TempFolder t;
    const fs::path file = t.path / "a#b%20?n";  // characters that a URI escapes
    {
        auto db = open(file).value();
        ASSERT_TRUE(db.run("insert into n values (7, 'seven')"));
    }
    ASSERT_EQ(::chmod(file.c_str(), 0444), 0);
    ASSERT_EQ(::chmod(t.path.c_str(), 0555), 0);
    const auto as_a_guest = [&] {
        const pid_t pid = ::fork();
        if (pid == 0) {
            if (::geteuid() == 0 && ::setuid(65534) != 0) ::_exit(9);
            auto db = open(file);
            if (!db) ::_exit(db.error().code == "records-cannot-open" ? 1 : 2);
            if (count(*db) != 1) ::_exit(3);
            const auto written = db->run("insert into n values (8, 'eight')");
            if (written || written.error().code != "records-read-only") ::_exit(4);
            ::_exit(written.error().problem.find("::") == std::string::npos ? 0 : 5);  // nobody's places in code
        }
        int status = 0;
        EXPECT_EQ(::waitpid(pid, &status, 0), pid);
        return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    };
    EXPECT_EQ(as_a_guest(), 0);
    EXPECT_EQ(std::distance(fs::directory_iterator(t.path), fs::directory_iterator()), 1);
    ASSERT_EQ(::chmod(t.path.c_str(), 0755), 0);
    std::ofstream(file.string() + "-wal") << "waits";
    ASSERT_EQ(::chmod(t.path.c_str(), 0555), 0);
    EXPECT_EQ(as_a_guest(), 1);
    ASSERT_EQ(::chmod(t.path.c_str(), 0755), 0);
}

TEST(Database, TwoProcessesWriteWithoutLosingARow) {
    TempFolder t;
    {
        ASSERT_TRUE(open(t.path / "n"));
    }
    std::vector<pid_t> children;
    for (int c = 0; c < 2; ++c) {
        const pid_t pid = ::fork();
        if (pid == 0) {
            auto db = open(t.path / "n");
            bool good = db.has_value();
            for (int i = 0; good && i < 100; ++i)
                good = db->write([&]() -> Status {
                             auto most = db->query("select max(v) from n", {Kind::number});
                             if (!most) return pass(most);
                             return db->run("insert into n values (:v, 'x')", {most->front().number(0) + 1});
                         }).has_value();
            ::_exit(good ? 0 : 1);
        }
        children.push_back(pid);
    }
    for (const pid_t pid : children) {
        int status = 0;
        ASSERT_EQ(::waitpid(pid, &status, 0), pid);
        EXPECT_EQ(status, 0);
    }
    auto db = open(t.path / "n").value();
    EXPECT_EQ(count(db), 200);
    EXPECT_TRUE(db.check());
}

// A child appends and reports each acknowledged number over a pipe; it is killed at some instant; every number that was
// reported must be there. A child killed before it made the table is no loss.
TEST(Database, KillNeverLosesAnAcknowledgedRow) {
    TempFolder t;
    std::set<std::int64_t> acknowledged;
    unsigned random = 20261125;
    for (int child = 0; child < 50; ++child) {
        int ends[2];
        ASSERT_EQ(::pipe(ends), 0);
        const pid_t pid = ::fork();
        if (pid == 0) {
            ::close(ends[0]);
            auto db = open(t.path / "n");
            for (std::int64_t i = 0; db && i < 100000; ++i) {
                const std::int64_t v = child * 100000 + i;
                if (!db->run("insert into n values (:v, 'x')", {v})) break;
                if (::write(ends[1], &v, sizeof v) != sizeof v) break;
            }
            ::_exit(0);
        }
        ::close(ends[1]);
        random = random * 1664525 + 1013904223;
        std::this_thread::sleep_for(std::chrono::microseconds(2000 + (random >> 16) % 25000));
        ::kill(pid, SIGKILL);
        std::int64_t v = 0;
        while (::read(ends[0], &v, sizeof v) == sizeof v) acknowledged.insert(v);
        ::close(ends[0]);
        ASSERT_EQ(::waitpid(pid, nullptr, 0), pid);
    }
    auto db = open(t.path / "n").value();
    ASSERT_TRUE(db.check());
    ASSERT_GT(acknowledged.size(), 50u) << "the children hardly wrote: nothing was tested";
    std::set<std::int64_t> there;
    const auto rows = db.query("select v from n", {Kind::number}).value();
    for (const Row& row : rows) there.insert(row.number(0));
    for (const std::int64_t v : acknowledged) EXPECT_TRUE(there.contains(v)) << v;
}

}  // namespace
}  // namespace fettle::records
