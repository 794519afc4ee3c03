#include "fettle/book/journal.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdio>
#include <fstream>
#include <map>
#include <thread>

#include "fettle/base/files.h"
#include "fettle/base/source_path.h"
#include "fettle/book/tail.h"
#include "fettle/records/database.h"

namespace fettle::book {
namespace {
namespace fs = std::filesystem;

struct TempFolder {
    TempFolder() {
        // In memory where that is possible: killing a process asks nothing of a disk, and syncs cost nothing there.
        const fs::path root = ::access("/dev/shm", W_OK) == 0 ? fs::path("/dev/shm") : fs::temp_directory_path();
        std::string pattern = (root / "fettle-book-XXXXXX").string();
        path = mkdtemp(pattern.data());
    }
    ~TempFolder() { fs::remove_all(path); }
    fs::path path;
};

constexpr UnixMs start = 1795597380000;  // 2026-11-25T09:03:00Z

// The digest by another program, of the bytes as they stand in the documentation.
std::string by_sha256sum(const fs::path& file) {
    const std::string command = "sha256sum '" + file.string() + "'";
    FILE* pipe = ::popen(command.c_str(), "r");
    char digest[65] = {};
    const bool got = pipe && std::fread(digest, 1, 64, pipe) == 64;
    if (pipe) ::pclose(pipe);
    return got ? digest : "";
}

TEST(Journal, TheDocumentedExampleHasTheDigestThatSha256sumGives) {
    const std::string doc = read_text_file(source_path("docs/journal.md")).value();
    const std::size_t begin = doc.find("<!-- example: begin -->\n```\n") + 28;
    const std::size_t end = doc.find("\n```", begin);
    ASSERT_NE(end, std::string::npos);
    const std::string canonical = doc.substr(begin, end - begin);
    TempFolder t;
    std::ofstream(t.path / "entry") << canonical;
    const std::string digest = by_sha256sum(t.path / "entry");
    EXPECT_NE(doc.find("`" + digest + "`"), std::string::npos) << digest;

    Entry e{1, start, "opened", canonical.substr(canonical.find("\n\n") + 2), std::string(64, '0'), ""};
    EXPECT_EQ(entry_digest("0001X", e), digest);
}

std::vector<Entry> chain_of(const std::string& job, int count) {
    std::vector<Entry> entries;
    std::string previous(64, '0');
    for (int i = 1; i <= count; ++i) {
        Entry e{i, start + i, "note", "{\"text\":\"" + std::to_string(i) + "\"}", previous, ""};
        e.digest = entry_digest(job, e);
        previous = e.digest;
        entries.push_back(e);
    }
    return entries;
}

Head head_of(const std::vector<Entry>& entries) {
    return {entries.back().number, entries.back().digest};
}

RC_GTEST_PROP(Chain, AnyEditIsNamedAtItsEntry, ()) {
    const int count = *rc::gen::inRange(1, 12);
    auto entries = chain_of("0001X", count);
    const Head head = head_of(entries);
    RC_ASSERT(!check_chain("0001X", entries, head));
    const auto k = static_cast<std::size_t>(*rc::gen::inRange(0, count));
    switch (*rc::gen::inRange(0, 5)) {
        case 0: entries[k].data += " "; break;
        case 1: entries[k].type = "mark"; break;
        case 2: entries[k].at += 1; break;
        case 3: entries[k].previous[5] ^= 1; break;
        case 4: entries[k].digest[5] ^= 1; break;
    }
    const auto broken = check_chain("0001X", entries, head);
    RC_ASSERT(broken.has_value());
    RC_ASSERT(broken->number == static_cast<std::int64_t>(k) + 1);
}

RC_GTEST_PROP(Chain, AReckonedDigestShowsAtTheNextEntryOrTheHead, ()) {
    const int count = *rc::gen::inRange(1, 12);
    auto entries = chain_of("0001X", count);
    const Head head = head_of(entries);
    const auto k = static_cast<std::size_t>(*rc::gen::inRange(0, count));
    entries[k].data = "{\"text\":\"forged\"}";
    entries[k].digest = entry_digest("0001X", entries[k]);
    const auto broken = check_chain("0001X", entries, head);
    RC_ASSERT(broken.has_value());
    RC_ASSERT(broken->number == std::min<std::int64_t>(static_cast<std::int64_t>(k) + 2, count));
}

RC_GTEST_PROP(Chain, RemovedInsertedSwappedAndCutAreNoticed, ()) {
    const int count = *rc::gen::inRange(3, 12);
    const auto good = chain_of("0001X", count);
    const Head head = head_of(good);
    const auto k = *rc::gen::inRange(0, count - 1);
    const auto at = static_cast<std::size_t>(k);

    auto removed = good;
    removed.erase(removed.begin() + k);
    RC_ASSERT(check_chain("0001X", removed, head)->number == good[at + 1].number);

    auto inserted = good;
    Entry extra = good[at];
    extra.data = "{\"text\":\"extra\"}";
    extra.number = good[at].number + 1;
    inserted.insert(inserted.begin() + k + 1, extra);
    RC_ASSERT(check_chain("0001X", inserted, head)->number == extra.number);

    auto swapped = good;
    std::swap(swapped[at].data, swapped[at + 1].data);
    RC_ASSERT(check_chain("0001X", swapped, head)->number == good[at].number);

    auto cut = good;
    cut.pop_back();
    RC_ASSERT(check_chain("0001X", cut, head)->number == count);
    RC_ASSERT(!check_chain("0001X", cut));  // the chain alone cannot know
}

// What follows an entry that was checked is held to the same, without that one being read again.
RC_GTEST_PROP(Chain, GoesOnFromAnEntryThatWasChecked, ()) {
    const int count = *rc::gen::inRange(2, 12);
    const auto good = chain_of("0001X", count);
    const auto cut = static_cast<std::size_t>(*rc::gen::inRange(1, count));
    const std::vector<Entry> first(good.begin(), good.begin() + static_cast<std::ptrdiff_t>(cut));
    std::vector<Entry> rest(good.begin() + static_cast<std::ptrdiff_t>(cut), good.end());
    const Head before = head_of(first), head = head_of(good);
    RC_ASSERT(!check_chain_after("0001X", before, rest, head));
    RC_ASSERT(check_chain_after("0001X", {before.number, std::string(64, '1')}, rest, head)->number == rest[0].number);
    RC_ASSERT(check_chain_after("0001X", before, {}, head)->number == rest[0].number);
    RC_ASSERT(!check_chain_after("0001X", before, {}, before));
    const auto k = static_cast<std::size_t>(*rc::gen::inRange<std::size_t>(0, rest.size()));
    rest[k].data = "{\"text\":\"edited\"}";
    RC_ASSERT(check_chain_after("0001X", before, rest, head)->number == rest[k].number);
}

TEST(Chain, BelongsToItsJob) {
    const auto entries = chain_of("0001X", 2);
    EXPECT_FALSE(check_chain("0001X", entries));
    EXPECT_EQ(check_chain("00028", entries)->number, 1);
}

// ISO/IEC 7064 MOD 11-2: 0794 → 0, 079 → X is the standard's own example; 0749 → X.
TEST(JobNumber, AMistypedNumberIsToldWhichCharacterIsWanted) {
    EXPECT_TRUE(check_job_number("07940"));
    const auto no = check_job_number("07490");
    ASSERT_FALSE(no);
    EXPECT_EQ(no.error().code, "job-number-check");
    EXPECT_NE(no.error().problem.find("ISO/IEC 7064 MOD 11-2 wants X for 0749"), std::string::npos);
    for (const char* form : {"", "0794", "07940X1", "0794x", "0001Y", "abcd0", "-0010"})
        EXPECT_FALSE(check_job_number(form)) << form;
}

TEST(Book, NumbersJobsAndChainsTheirEntries) {
    TempFolder t;
    auto book = Book::open(t.path / "book.sqlite").value();
    EXPECT_EQ(book.open_job("{\"customer\":\"1007\"}", start).value(), "0001X");
    const std::string job = book.open_job("{\"customer\":\"1008\"}", start + 5).value();
    EXPECT_EQ(job, "00028");
    const Entry e = book.append(job, "note", "{\"text\":\"x\"}", start + 10).value();
    EXPECT_EQ(e.number, 2);
    EXPECT_EQ(book.jobs().value(), (std::vector<std::string>{"0001X", "00028"}));

    auto again = Book::open(t.path / "book.sqlite").value();
    const Journal journal = again.journal(job).value();
    ASSERT_EQ(journal.entries.size(), 2u);
    EXPECT_EQ(journal.entries[1].data, "{\"text\":\"x\"}");
    EXPECT_EQ(journal.head.digest, e.digest);
    EXPECT_FALSE(check_chain(job, journal.entries, journal.head));

    auto tail = JournalTail::open(t.path / "book.sqlite").value();
    EXPECT_EQ(tail.head(job).value().number, 2);
    EXPECT_EQ(tail.head(job).value().digest, e.digest);
    EXPECT_EQ(tail.head("00036").error().code, "job-unknown");
    const Journal rest = tail.after(job, 1).value();
    ASSERT_EQ(rest.entries.size(), 1u);
    EXPECT_EQ(rest.entries[0].digest, e.digest);
    EXPECT_TRUE(tail.after(job, 2).value().entries.empty());
    EXPECT_EQ(tail.after(job, 2).value().head.digest, e.digest);
}

TEST(Book, WhatWasDecidedOnReadingIsAppendedOnlyToWhatWasRead) {
    TempFolder t;
    auto book = Book::open(t.path / "book.sqlite").value();
    const std::string job = book.open_job("{\"customer\":\"1007\"}", start).value();
    const std::vector<Addition> note{{"note", "{\"text\":\"x\"}"}};
    EXPECT_TRUE(book.append_all(job, note, start, 1));
    const auto late = book.append_all(job, note, start, 1);
    ASSERT_FALSE(late);
    EXPECT_EQ(late.error().code, "journal-moved");
    EXPECT_EQ(book.read(job).value().size(), 2u);
}

TEST(Book, RefusesWhatItCannotKeepAndKeepsNothingOfIt) {
    TempFolder t;
    auto book = Book::open(t.path / "book.sqlite").value();
    const std::string job = book.open_job("{\"customer\":\"1007\"}", start).value();
    const auto refused = [&](std::string type, std::string data) {
        const auto no =
            book.append_all(job, {{"note", "{\"text\":\"first\"}"}, {std::move(type), std::move(data)}}, start);
        return no ? std::string("taken") : no.error().code;
    };
    EXPECT_EQ(refused("note", std::string("{\"text\":\"a\0b\"}", 14)), "text-with-nul");
    EXPECT_EQ(refused("note", "{\"text\":\"\xff\"}"), "text-not-utf8");
    EXPECT_EQ(refused("note", "[1]"), "entry-data");
    EXPECT_NE(refused("note", "{\"text\""), "taken");
    EXPECT_EQ(refused("No Type", "{}"), "entry-type");
    EXPECT_EQ(book.append("07490", "note", "{}", start).error().code, "job-number-check");
    EXPECT_EQ(book.append("07940", "note", "{}", start).error().code, "job-unknown");
    EXPECT_EQ(book.read("07940").error().code, "job-unknown");
    EXPECT_EQ(book.read(job)->size(), 1u);
}

// Story 49: yesterday's record is edited behind Fettle's back.
TEST(Book, AnEditBehindItsBackIsFound) {
    TempFolder t;
    auto book = Book::open(t.path / "book.sqlite").value();
    const std::string job = book.open_job("{\"customer\":\"1007\"}", start).value();
    for (int i = 0; i < 4; ++i) ASSERT_TRUE(book.append(job, "note", "{\"text\":\"battery fine\"}", start));
    auto editor = records::Database::open(t.path / "book.sqlite", {"book", {{}}}).value();
    ASSERT_TRUE(editor.run("update entries set data = '{\"text\":\"battery weak\"}' where number = 3"));
    const Journal edited = book.journal(job).value();
    EXPECT_EQ(check_chain(job, edited.entries, edited.head)->number, 3);
}

TEST(Book, TwoProcessesAppendToOneJobAndTheChainHolds) {
    TempFolder t;
    std::string job;
    {
        auto book = Book::open(t.path / "book.sqlite").value();
        job = book.open_job("{\"customer\":\"1007\"}", start).value();
    }
    std::vector<pid_t> children;
    for (int c = 0; c < 2; ++c) {
        const pid_t pid = ::fork();
        if (pid == 0) {
            auto book = Book::open(t.path / "book.sqlite");
            bool good = book.has_value();
            for (int i = 0; good && i < 60; ++i)
                good = book->append_all(job, {{"note", "{\"text\":\"a\"}"}, {"note", "{\"text\":\"b\"}"}}, start)
                           .has_value();
            ::_exit(good ? 0 : 1);
        }
        children.push_back(pid);
    }
    for (const pid_t pid : children) {
        int status = 0;
        ASSERT_EQ(::waitpid(pid, &status, 0), pid);
        EXPECT_EQ(status, 0);
    }
    const Journal journal = Book::open(t.path / "book.sqlite")->journal(job).value();
    ASSERT_EQ(journal.entries.size(), 241u);
    EXPECT_FALSE(check_chain(job, journal.entries, journal.head));
    for (std::size_t i = 1; i < 241; i += 2) EXPECT_NE(journal.entries[i].data, journal.entries[i + 1].data) << i;
}

// kill -9 at any instant: every entry that was acknowledged is there, and the chain holds.
TEST(Book, KillNeverLosesAnAcknowledgedEntry) {
    TempFolder t;
    std::string job;
    {
        auto book = Book::open(t.path / "book.sqlite").value();
        job = book.open_job("{\"customer\":\"1007\"}", start).value();
    }
    std::map<std::int64_t, int> acknowledged;  // entry → child
    unsigned random = 7;
    for (int child = 0; child < 50; ++child) {
        int ends[2];
        ASSERT_EQ(::pipe(ends), 0);
        const pid_t pid = ::fork();
        if (pid == 0) {
            ::close(ends[0]);
            auto book = Book::open(t.path / "book.sqlite");
            while (book) {
                const auto e = book->append(job, "note", "{\"text\":\"" + std::to_string(child) + "\"}", start);
                if (!e || ::write(ends[1], &e->number, sizeof e->number) != sizeof e->number) break;
            }
            ::_exit(0);
        }
        ::close(ends[1]);
        std::int64_t number = 0;
        // One in five may be killed while it opens the book; the others have begun to write, however slow the machine
        // is.
        if (child % 5 != 0 && ::read(ends[0], &number, sizeof number) == sizeof number) acknowledged[number] = child;
        random = random * 1664525 + 1013904223;
        std::this_thread::sleep_for(std::chrono::microseconds(1000 + (random >> 16) % 15000));
        ::kill(pid, SIGKILL);
        while (::read(ends[0], &number, sizeof number) == sizeof number) acknowledged[number] = child;
        ::close(ends[0]);
        ASSERT_EQ(::waitpid(pid, nullptr, 0), pid);
    }
    ASSERT_GT(acknowledged.size(), 50u) << "the children hardly wrote: nothing was tested";
    const Journal journal = Book::open(t.path / "book.sqlite")->journal(job).value();
    EXPECT_FALSE(check_chain(job, journal.entries, journal.head));
    for (const auto& [number, child] : acknowledged) {
        ASSERT_LE(static_cast<std::size_t>(number), journal.entries.size());
        EXPECT_EQ(journal.entries[static_cast<std::size_t>(number) - 1].data,
                  "{\"text\":\"" + std::to_string(child) + "\"}");
    }
}

}  // namespace
}  // namespace fettle::book
