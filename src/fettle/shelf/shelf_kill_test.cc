// Two at once, and a kill at any instant: the shelf is whole, before or after.
#include "fettle/shelf/shelf_case_test_help.h"

namespace fettle::shelf {
namespace {

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
    const auto again = [&] {
        fs::remove_all(home);
        ASSERT_TRUE(Shelf::open(home)->add(dunnock(), request(t.path / "old"), noon()));
    };
    again();
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
            again();
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
